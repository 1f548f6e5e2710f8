"""Does the connection to a remote store tell apart what a server answers, and keep its token?"""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from pydantic import ValidationError

from adapters.remote_store import Answer, RemoteStore, RemoteStoreSettings
from adapters.secrets import Secret

from .receiver import PASSWORD, Receiver, receiving

LINE = "reading,point=p value=1.0,flag=1i 1775174400000"


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A server that answers as it is told."""
    with receiving() as told:
        yield told


@pytest.fixture
def remote(receiver: Receiver) -> Iterator[RemoteStore]:
    """A connection to it."""
    settings = RemoteStoreSettings.model_validate(
        {"url": f"http://127.0.0.1:{receiver.port}/", "org": "valley farm", "answer_within": "300 ms"}
    )
    store = RemoteStore(settings, Secret("remote_store", PASSWORD))
    yield store
    store.close()


def test_lines_are_written_by_the_v2_api(remote: RemoteStore, receiver: Receiver) -> None:
    """Bucket, organisation and milliseconds in the query, the token in the header (InfluxDB v2 API, /api/v2/write)."""
    receiver.status = 204
    assert remote.write([LINE, LINE]).answer is Answer.ACCEPTED
    (path,) = receiver.paths
    assert urlsplit(path).path == "/api/v2/write"
    assert parse_qs(urlsplit(path).query) == {"org": ["valley farm"], "bucket": ["tidebed"], "precision": ["ms"]}
    ((headers, body),) = receiver.got
    assert body == f"{LINE}\n{LINE}"
    assert headers["Authorization"] == f"Token {PASSWORD}"


@pytest.mark.parametrize(
    ("status", "answer"),
    [
        (400, Answer.TOO_LARGE),
        (413, Answer.TOO_LARGE),
        (422, Answer.PARTLY),
        (200, Answer.NOT_NOW),
        (302, Answer.NOT_NOW),
        (401, Answer.NOT_NOW),
        (403, Answer.NOT_NOW),
        (404, Answer.NOT_NOW),
        (429, Answer.NOT_NOW),
        (500, Answer.NOT_NOW),
        (503, Answer.NOT_NOW),
    ],
)
def test_each_refusal_has_its_meaning(remote: RemoteStore, receiver: Receiver, status: int, answer: Answer) -> None:
    """A wrong token or bucket is mended, not skipped; a log-in page on the way has not taken anything."""
    receiver.status = status
    written = remote.write([LINE])
    assert written.answer is answer
    assert f"the server answered {status}" in written.reason


def test_a_wrong_token_is_named(remote: RemoteStore, receiver: Receiver) -> None:
    """With where to look."""
    receiver.status = 401
    assert remote.write([LINE]).reason.endswith("; see the token in the secrets")


def test_no_answer_in_time_is_not_now(remote: RemoteStore, receiver: Receiver) -> None:
    """The lines go again later; the same lines again change nothing."""
    receiver.silent = True
    written = remote.write([LINE])
    assert written.answer is Answer.NOT_NOW
    assert written.reason == f"no answer from http://127.0.0.1:{receiver.port} (ReadTimeoutError)"


def test_a_dead_link_is_not_now() -> None:
    """Nobody listens there."""
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        remote = RemoteStore(RemoteStoreSettings.model_validate({"url": f"http://127.0.0.1:{bound.getsockname()[1]}"}))
        assert remote.write([LINE]).answer is Answer.NOT_NOW
        remote.close()


@pytest.mark.parametrize("url", ["readings.example:8086", "ftp://readings.example", "http://", ""])
def test_an_address_that_is_none_is_refused(url: str) -> None:
    """With how to write it."""
    with pytest.raises(ValidationError, match="is no address of a server; write it as in"):
        RemoteStoreSettings.model_validate({"url": url})


def test_importing_the_adapter_does_not_import_the_client() -> None:
    """It is heavy, and most sites stand alone."""
    code = "import adapters.remote_store, sys; print('influxdb_client' in sys.modules)"
    root = Path(__file__).parents[2]
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert shown.stdout == "False\n"
