"""Does a link show its alarm, acknowledge it by the button alone, and let nobody else in?"""

from __future__ import annotations

import http.client
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from daemon.replies.endpoint import (
    AT_ONCE,
    LARGEST_BODY,
    LARGEST_HEAD,
    ROUTE,
    Answers,
    Endpoint,
    LinkMaker,
    is_loopback,
)
from daemon.store import Sending, Store
from daemon.store.errors import StoreBusy
from daemon.texts import texts_in
from rules.acts import Act, ActKind
from rules.events import Event
from tests.rules.told import site

START = 1_780_315_200_000
DAY = 86_400_000
KEY = bytes(32)


@dataclass
class Clock:
    """The time of these tests."""

    at: int = START

    def now(self) -> int:
        """As Clock."""
        return self.at


def changed(t: int, state: str, since: int = START, side: str = "high", why: str = "25.0 is over 24") -> Event:
    """An alarm of the rule tank.warm changes."""
    body = {"rule": "tank.warm", "side": side, "was": "normal", "state": state, "priority": "high", "since": since}
    return Event(t, "alarm", {**body, "value": 25.0, "unit": "degC", "why": why})


class Place:
    """A store with one message, and the endpoint before it."""

    def __init__(self, path: Path) -> None:
        self.clock = Clock()
        self.plan = site([])
        self.store = Store(path)
        sending = Sending(
            "m1/phone", "anna", "phone", "Tank at <25 °C>", "Tank 25 °C since 12:00.", "high", "first", START,
            rule="tank.warm", side="high",
        )  # fmt: skip
        self.store.commit(events=[changed(START, "unacknowledged")], owed=[sending])
        (self.sending,) = self.store.unsent()
        self.endpoint = Endpoint("127.0.0.1", 0, Answers(path, KEY, lambda: self.plan, self.clock))
        self.endpoint.start()
        line = LinkMaker("https://home.example/", KEY, DAY, lambda: self.plan)(self.sending, START)
        self.path = line.removeprefix("Seen it? https://home.example")

    def ask(self, method: str = "GET", path: str | None = None, body: bytes | None = None) -> tuple[int, str]:
        """One request by a real client."""
        connection = http.client.HTTPConnection("127.0.0.1", self.endpoint.port, timeout=10)
        try:
            connection.request(method, self.path if path is None else path, body)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        finally:
            connection.close()

    def log(self, *events: Event) -> None:
        """More of the log, as the loop writes it."""
        self.store.commit(events=events)

    def acts(self) -> list[tuple[ActKind, str, str | None, str | None]]:
        """What was handed in."""
        return [(act.kind, act.who, act.rule, act.side) for _, act in self.store.inbox()]

    def close(self) -> None:
        """Close all."""
        self.endpoint.stop()
        self.store.close()


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """One alarm that waits for somebody."""
    made = Place(tmp_path / "store.sqlite")
    yield made
    made.close()


def test_looking_shows_the_alarm_and_acknowledges_nothing(place: Place) -> None:
    """However often: programs that preview links look too, with GET or HEAD."""
    for _ in range(3):
        status, page = place.ask()
        assert status == 200
        assert "Tank at &lt;25 °C&gt;" in page
        assert page.count("<button") == 1
    assert place.ask("HEAD") == (200, "")
    assert place.acts() == []


def test_the_button_acknowledges_that_side_in_the_name_of_the_one_who_was_told(place: Place) -> None:
    """The act lies in the inbox for the loop."""
    status, page = place.ask("POST", body=b"")
    assert (status, "Noted" in page, "<button" in page) == (200, True, False)
    assert place.acts() == [(ActKind.ACKNOWLEDGE, "anna", "tank.warm", "high")]


def test_a_link_is_bound_to_the_activation_that_its_message_told_of(place: Place) -> None:
    """So that one which begins before the daemon takes the answer is not acknowledged unseen."""
    place.ask("POST")
    assert [act.data for _, act in place.store.inbox()] == [{"since": str(START)}]


def test_a_link_used_twice_acts_once(place: Place) -> None:
    """Before the loop has taken the act, and after."""
    place.ask("POST")
    assert "Noted" in place.ask("POST")[1]
    assert len(place.acts()) == 1
    place.store.commit(taken=[number for number, _ in place.store.inbox()])
    place.log(changed(START + 5000, "acknowledged", why="by anna: by link"))
    status, page = place.ask("POST")
    assert (status, "Seen" in page, place.acts()) == (200, True, [])


def test_a_link_ends_at_its_time_and_not_before(place: Place) -> None:
    """A day after it was sent, to the millisecond."""
    place.clock.at = START + DAY - 1
    assert place.ask()[0] == 200
    place.clock.at = START + DAY
    assert place.ask("POST")[0] == 410
    assert place.acts() == []


def test_a_forged_link_is_told_nothing(place: Place) -> None:
    """Another signature, another message, another end, another key."""
    token = place.path.removeprefix(ROUTE)
    number, end, mac = token.split(".")
    forged = [
        f"{number}.{end}.{mac[::-1]}",
        f"2.{end}.{mac}",
        f"{number}.zzzzzz.{mac}",
        LinkMaker("", KEY[::-1] + b"x", DAY, lambda: place.plan)(place.sending, START).partition(ROUTE)[2],
    ]
    for one in forged:
        status, page = place.ask("POST", ROUTE + one)
        assert status == 404
        assert "Tank" not in page
        assert "Alder" not in page
    assert place.acts() == []


def test_a_link_is_for_one_activation(place: Place) -> None:
    """When the alarm went and came back, the old link does nothing."""
    place.log(
        changed(START + 1000, "returned"),
        changed(START + 2000, "normal"),
        changed(START + 9000, "unacknowledged", START + 8000),
    )
    status, page = place.ask("POST")
    assert (status, "come back" in page, place.acts()) == (410, True, [])


def test_the_other_side_of_the_rule_is_another_alarm(place: Place) -> None:
    """What became of it says nothing about this one."""
    place.log(changed(START + 1000, "unacknowledged", START + 1000, side="low"))
    assert "<button" in place.ask()[1]


@pytest.mark.parametrize(
    ("state", "says"),
    [("normal", "It is over"), ("shelved", "set aside"), ("suppressed", "set aside"), ("acknowledged", "Seen")],
)
def test_an_alarm_that_does_not_wait_is_told_as_it_is(place: Place, state: str, says: str) -> None:
    """Without a button, and a press from an old page does nothing."""
    place.log(changed(START + 1000, state, since=START))
    status, page = place.ask("POST")
    assert (status, says in page, "<button" in page, place.acts()) == (200, True, False, [])


def test_shelving_a_normal_alarm_is_no_new_activation(place: Place) -> None:
    """The log gives no `since` for it."""
    place.log(changed(START + 1000, "normal"), changed(START + 2000, "shelved", 0))
    assert "set aside" in place.ask()[1]


def test_a_link_on_which_a_messenger_hung_words_of_its_own_is_answered(place: Place) -> None:
    """Looking and the button alike."""
    path = place.path + "?from=mail&n=1"
    assert place.ask(path=path)[0] == 200
    assert "Noted" in place.ask("POST", path)[1]
    assert len(place.acts()) == 1


def test_who_presses_while_nothing_can_be_written_is_told_to_press_again(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And not that it is noted, nor that there is nothing."""

    def busy(path: Path, act: Act) -> int:
        raise StoreBusy(f"{path} is held by another process")

    monkeypatch.setattr("daemon.replies.endpoint.hand_in", busy)
    status, page = place.ask("POST")
    assert (status, "could not be noted just now" in page, str(place.store.path) in page) == (503, True, False)
    monkeypatch.undo()
    assert place.ask("POST")[0] == 200


@pytest.mark.parametrize("path", ["/", "/a/", "/a", "/favicon.ico", "/a/../etc/passwd", "//a/x"])
def test_there_is_no_other_route(place: Place, path: str) -> None:
    """Nothing of the place is shown."""
    status, page = place.ask(path=path)
    assert (status, "Alder" in page) == (404, False)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS"])
def test_no_other_method_is_answered(place: Place, method: str) -> None:
    """Refused by name."""
    assert place.ask(method)[0] == 405


def test_an_answer_is_kept_by_nobody_and_framed_by_nobody(place: Place) -> None:
    """The path is a good link: it goes into no cache, referrer or frame, and the page loads nothing."""
    connection = http.client.HTTPConnection("127.0.0.1", place.endpoint.port, timeout=10)
    connection.request("GET", place.path)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["Server"] is None


def raw(place: Place, data: bytes) -> bytes:
    """What comes back for bytes of any kind."""
    with socket.create_connection(("127.0.0.1", place.endpoint.port), timeout=10) as client:
        client.sendall(data)
        client.shutdown(socket.SHUT_WR)
        back = b""
        while part := client.recv(4096):
            back += part
    return back


def test_a_large_body_is_refused_unread(place: Place) -> None:
    """At the size it is taken, above it not."""
    assert place.ask("POST", body=b"x" * (LARGEST_BODY + 1))[0] == 413
    assert place.acts() == []
    assert place.ask("POST", body=b"x" * LARGEST_BODY)[0] == 200


def test_a_large_head_is_refused(place: Place) -> None:
    """Nobody fills the memory."""
    head = f"POST {place.path} HTTP/1.1\r\nX-Long: {'x' * LARGEST_HEAD}\r\n\r\n"
    assert raw(place, head.encode()).startswith(b"HTTP/1.0 431")
    assert place.acts() == []


@pytest.mark.parametrize(
    "data",
    [b"", b"\r\n\r\n", b"GARBAGE\n\n", b"GET\n\n", bytes(range(256)) + b"\n\n", b"POST /a/x HTTP/9.9\r\n\r\n"],
)
def test_garbage_harms_nobody(place: Place, data: bytes) -> None:
    """It answers the next visitor as before."""
    raw(place, data)
    assert place.ask()[0] == 200


@pytest.mark.parametrize("header", ["Content-Length: -1", "Content-Length: 1e3", "Transfer-Encoding: chunked"])
def test_a_body_of_unknown_length_is_refused(place: Place, header: str) -> None:
    """And acknowledges nothing."""
    answer = raw(place, f"POST {place.path} HTTP/1.1\r\n{header}\r\n\r\n".encode())
    assert answer.split()[1] in (b"400", b"411")
    assert place.acts() == []


def test_visitors_who_say_nothing_do_not_keep_others_out_for_ever(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A whole request must have come within its time; more visitors than fit are hung up on."""
    monkeypatch.setattr("daemon.replies.endpoint.PATIENCE", 0.3)
    silent = [socket.create_connection(("127.0.0.1", place.endpoint.port)) for _ in range(AT_ONCE)]
    for one in silent:
        one.settimeout(10)
        assert one.recv(1) == b""
        one.close()
    assert place.ask()[0] == 200


def test_the_line_of_a_link_and_its_page_are_in_the_sites_language_as_it_is_now(place: Place) -> None:
    """A site file that is read again changes them at once, the page of what is refused too."""
    make = LinkMaker("https://home.example", KEY, DAY, lambda: place.plan)
    assert make(place.sending, START).startswith("Seen it? https://home.example/a/1.")
    assert '<html lang="en">' in place.ask()[1]
    place.plan = site([], texts=texts_in("de"))
    assert make(place.sending, START).startswith("Gesehen? https://home.example/a/1.")
    page = place.ask()[1]
    assert '<html lang="de">' in page
    assert "&#9650; hoch</span> seit 12:00; noch hat niemand gesagt, dass er es gesehen hat." in page
    assert "Ich habe es gesehen</button>" in page
    assert "Vermerkt." in place.ask("POST")[1]
    place.store.commit(taken=[number for number, _ in place.store.inbox()])
    place.log(changed(START + 60_000, "acknowledged", why="by anna: by link"))
    assert "Um 12:01 gesehen von anna." in place.ask()[1]
    place.clock.at = START + DAY
    assert "Dieser Link ist zu alt" in place.ask()[1]
    assert "Hier ist nichts" in place.ask(path="/")[1]


def test_the_page_of_an_older_alarm_names_its_day(place: Place) -> None:
    """Half a day later a time of day alone could be today's."""
    place.clock.at = START + DAY - 1
    assert "since Mon 12:00;" in place.ask()[1]


def test_only_messages_that_ask_somebody_to_look_carry_a_link(place: Place) -> None:
    """A recovery or a sign of life has nothing to answer; a drill is there to see whether somebody does."""
    make = LinkMaker("https://home.example", KEY, DAY, lambda: place.plan)
    for purpose in ("first", "next", "repeat", "drill", "chattering"):
        assert "/a/" in make(Sending("m", "a", "w", "", "", "", purpose, 0, 5, rule="r"), START)
    for purpose in ("recovery", "digest", "sign-of-life", "summary"):
        assert make(Sending("m", "a", "w", "", "", "", purpose, 0, 5, rule="r"), START) == ""
    assert make(Sending("m", "a", "w", "", "", "", "first", 0, 5), START) == ""


@pytest.mark.parametrize(
    ("host", "is_own"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("10.0.0.2", False)],
)
def test_the_loopback_is_known(host: str, is_own: bool) -> None:
    """By name or address alone."""
    assert is_loopback(host) is is_own
