"""Does the heartbeat beat while the daemon watches, and only then, without ever showing its address?"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from adapters.secrets import Secret
from daemon.selfwatch.heartbeat import Heartbeat, ask
from daemon.selfwatch.pulse import Pulse
from tests.waiting import until

KEY = "keep-this-key"


@contextmanager
def somebody(status: int = 200) -> Iterator[tuple[Secret, list[str]]]:
    """Somebody who waits for heartbeats: the address, and the paths that were asked for."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        """Notes each visit."""

        def do_GET(self) -> None:
            """As told."""
            asked.append(self.path)
            self.send_response(status)
            self.send_header("Content-Length", "2")
            self.end_headers()
            self.wfile.write(b"ok")

        def log_message(self, format: str, *args: object) -> None:
            """Nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield Secret("heartbeat", f"http://127.0.0.1:{server.server_port}/ping/{KEY}"), asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_it_asks_for_the_address_again_and_again() -> None:
    """On a thread of its own."""
    with somebody() as (address, asked):
        heartbeat = Heartbeat(address, 0.01, lambda: True)
        heartbeat.start()
        until(lambda: len(asked) >= 3)
        heartbeat.stop()
        assert set(asked) == {f"/ping/{KEY}"}


def test_it_stops_when_the_loop_hangs_and_goes_on_when_it_turns() -> None:
    """The pulse is what the loop's own clock shows."""
    seconds = [0.0]
    pulse = Pulse(lambda: seconds[0])
    with somebody() as (address, asked):
        heartbeat = Heartbeat(address, 60, lambda: pulse.age() < 30)
        pulse.monotonic()
        heartbeat.beat()
        seconds[0] = 29.9
        heartbeat.beat()
        assert len(asked) == 2
        seconds[0] = 30.0
        heartbeat.beat()
        heartbeat.beat()
        assert len(asked) == 2
        pulse.monotonic()
        heartbeat.beat()
        assert (len(asked), heartbeat.beats) == (3, 3)


@pytest.mark.parametrize("status", [404, 500])
def test_a_refusal_is_told_once_without_the_address(status: int, caplog: pytest.LogCaptureFixture) -> None:
    """By its number."""
    with somebody(status) as (address, _):
        heartbeat = Heartbeat(address, 60, lambda: True)
        heartbeat.beat()
        heartbeat.beat()
    assert [record.getMessage() for record in caplog.records] == [f"no heartbeat: the service answered {status}"]
    assert heartbeat.beats == 0


@pytest.mark.parametrize(
    "address",
    [
        f"http://127.0.0.1:1/{KEY}",
        f"http://{KEY}.invalid/",
        f"http://[{KEY}/",
        f"file:///etc/{KEY}",
        KEY,
        f"http://a b/{KEY}",
    ],
)
def test_whatever_goes_wrong_the_address_is_not_shown(address: str) -> None:
    """No connection, no such host, no web address at all."""
    told = ask(Secret("heartbeat", address))
    assert told
    assert KEY not in told
