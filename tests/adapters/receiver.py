"""Who receives the messages of these tests? A real HTTP service on loopback that answers as it is told."""

from __future__ import annotations

import gzip
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from adapters.secrets import SecretUrl

PASSWORD = "hunter-of-tilapia"


@dataclass
class Receiver:
    """status: what it answers; silent: whether it keeps the message and says nothing until `done` is set."""

    status: int = 200
    silent: bool = False
    got: list[tuple[dict[str, str], str]] = field(default_factory=list)
    """(headers, body) of each message."""
    paths: list[str] = field(default_factory=list)
    port: int = 0
    done: threading.Event = field(default_factory=threading.Event)
    arrivals: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))

    def address(self, scheme: str = "json", query: str = "") -> SecretUrl:
        """How a notifier reaches it; the password makes it a secret."""
        return SecretUrl("phone", f"{scheme}://anna:{PASSWORD}@127.0.0.1:{self.port}/hook{query}")


@contextmanager
def receiving() -> Iterator[Receiver]:
    """A receiver that takes everything, until told otherwise."""
    told = Receiver()

    class Handler(BaseHTTPRequestHandler):
        """Answers from `told`."""

        def do_POST(self) -> None:
            """Keep what came, then answer, or hang up without a word."""
            data = self.rfile.read(int(self.headers["Content-Length"]))
            if self.headers["Content-Encoding"] == "gzip":
                data = gzip.decompress(data)
            told.got.append((dict(self.headers), data.decode()))
            told.paths.append(self.path)
            told.arrivals.release()
            if told.silent:
                told.done.wait(10)
                return
            self.send_response(told.status)
            if told.status == 302:
                self.send_header("Location", "/log-in")
            self.end_headers()
            self.wfile.write(PASSWORD.encode())

        def log_message(self, format: str, *args: object) -> None:
            """Nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    told.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield told
    finally:
        told.done.set()
        server.shutdown()
        thread.join()
        server.server_close()
