"""Does the receiver take in what a notifier sends, and misbehave as it is told?"""

from __future__ import annotations

import http.client
import json
import socket
from collections.abc import Iterator

import pytest

from adapters.notify import AppriseNotifier, Result
from adapters.secrets import SecretUrl
from demo_replay.receiver import LARGEST_BODY, Conduct, Received, Receiver


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A receiver that accepts."""
    with Receiver() as made:
        yield made


def _post(receiver: Receiver, body: bytes, path: str = "/phone", **headers: str) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", receiver.port, timeout=10)
    try:
        connection.request("POST", path, body, headers)
        return connection.getresponse().status
    finally:
        connection.close()


def _message(title: str = "Water has stopped", text: str = "Flow 0 L/min", **more: str) -> bytes:
    return json.dumps({"title": title, "message": text, **more}).encode()


def test_a_message_comes_with_its_id_title_and_text(receiver: Receiver) -> None:
    """What is posted is noted field by field and answered with 200."""
    assert _post(receiver, _message(message_id="m1")) == 200
    (found,) = receiver.received
    assert (found.message_id, found.title, found.body) == ("m1", "Water has stopped", "Flow 0 L/min")
    assert found.conduct is Conduct.ACCEPT


def test_the_id_may_stand_in_a_header(receiver: Receiver) -> None:
    """A message without the field has the id of its header."""
    _post(receiver, _message(), **{"X-Message-Id": "m2"})
    assert receiver.received[0].message_id == "m2"


def test_whose_phone_it_is_stands_in_the_path(receiver: Receiver) -> None:
    """What follows a question mark does not belong to it."""
    _post(receiver, _message(), "/keeper_phone?from=tidebed")
    _post(receiver, _message(), "/neighbour_phone/")
    assert [message.to for message in receiver.received] == ["keeper_phone", "neighbour_phone"]


def test_what_a_notifier_hands_over_arrives(receiver: Receiver) -> None:
    """The project's own notifier reaches it by its address, and the id comes along."""
    way = SecretUrl("phone", receiver.address("keeper_phone"))
    outcome = AppriseNotifier().send(way, "Over: water has stopped", "Back to normal.", "loop.stopped/1", "critical")
    assert outcome.result is Result.DELIVERED
    (found,) = receiver.received
    assert (found.to, found.message_id) == ("keeper_phone", "loop.stopped/1")
    assert found.title == "Over: water has stopped"
    assert "Back to normal." in found.body


def test_whoever_listens_hears_a_message_before_it_is_answered() -> None:
    """The call comes with each message; by the time of the answer it has been made."""
    heard: list[Received] = []
    with Receiver(heard.append) as receiver:
        _post(receiver, _message("one"))
        assert [message.title for message in heard] == ["one"]


@pytest.mark.parametrize(("conduct", "status"), [(Conduct.ACCEPT, 200), (Conduct.REFUSE, 403), (Conduct.FAIL, 500)])
def test_it_answers_as_it_is_told(receiver: Receiver, conduct: Conduct, status: int) -> None:
    """Each conduct that answers has its status, and the message is noted with it."""
    receiver.behave(conduct)
    assert _post(receiver, _message()) == status
    assert receiver.received[0].conduct is conduct


def test_a_dropped_message_came_but_was_not_answered(receiver: Receiver) -> None:
    """The connection ends without an answer although the message is there."""
    receiver.behave(Conduct.DROP)
    with pytest.raises(http.client.RemoteDisconnected):
        _post(receiver, _message())
    assert len(receiver.received) == 1


def test_a_hanging_answer_is_let_go_when_the_conduct_changes(receiver: Receiver) -> None:
    """Nothing is answered while it hangs; then the connection ends."""
    receiver.behave(Conduct.HANG)
    body = _message()
    with socket.create_connection(("127.0.0.1", receiver.port), timeout=10) as sender:
        sender.sendall(b"POST /phone HTTP/1.1\r\nContent-Length: %d\r\n\r\n" % len(body) + body)
        assert receiver.wait_for(1)
        sender.setblocking(False)
        with pytest.raises(BlockingIOError):
            sender.recv(1)
        sender.settimeout(10)
        receiver.behave(Conduct.ACCEPT)
        assert sender.recv(1) == b""


def test_closing_lets_a_hanging_answer_go() -> None:
    """A sender that still waits does not keep the receiver from closing."""
    receiver = Receiver()
    receiver.behave(Conduct.HANG)
    body = _message()
    with socket.create_connection(("127.0.0.1", receiver.port), timeout=10) as sender:
        sender.sendall(b"POST /phone HTTP/1.1\r\nContent-Length: %d\r\n\r\n" % len(body) + body)
        assert receiver.wait_for(1)
        receiver.close()
        receiver.close()
        assert sender.recv(1) == b""


@pytest.mark.parametrize("body", [b"no json", b"[1]", b'{"title": "no text"}', b'{"message": 5}', b"[" * 60_000])
def test_what_is_no_message_is_counted_and_not_noted(receiver: Receiver, body: bytes) -> None:
    """400 for a body without a text, whatever it holds."""
    assert _post(receiver, body) == 400
    assert receiver.received == []
    assert receiver.faulty == 1


def test_a_body_is_taken_up_to_its_bound(receiver: Receiver) -> None:
    """One of the largest size is read; one byte more is refused unread."""
    padding = LARGEST_BODY - len(_message(text=""))
    assert _post(receiver, _message(text="x" * padding)) == 200
    assert _post(receiver, b"", **{"Content-Length": str(LARGEST_BODY + 1)}) == 413
    assert len(receiver.received) == 1


@pytest.mark.parametrize("length", ["-1", "²", "many"])
def test_a_length_that_is_no_number_is_refused(receiver: Receiver, length: str) -> None:
    """411 asks for a length where none can be read."""
    with socket.create_connection(("127.0.0.1", receiver.port), timeout=10) as sender:
        sender.sendall(f"POST /phone HTTP/1.1\r\nContent-Length: {length}\r\n\r\n".encode())
        assert sender.recv(100).startswith(b"HTTP/1.0 411")
    assert receiver.faulty == 1


def test_waiting_ends_when_enough_has_come(receiver: Receiver) -> None:
    """It tells whether so many messages came within the time."""
    _post(receiver, _message())
    assert receiver.wait_for(1, 10)
    assert not receiver.wait_for(2, 0.01)
