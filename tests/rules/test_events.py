"""Is an event written down as the contract has it?"""

from __future__ import annotations

from rules.events import Event


def test_every_time_of_a_line_is_rfc_3339() -> None:
    """Since when, and until when; what has no such time says so or leaves it out."""
    body = {"rule": "a", "since": 1_781_092_740_000, "until": None}
    assert Event(1_781_092_800_000, "alarm", body).line() == {
        "t": "2026-06-10T12:00:00.000Z",
        "type": "alarm",
        "rule": "a",
        "since": "2026-06-10T11:59:00.000Z",
        "until": None,
    }
    off = Event(1_781_092_800_000, "off", {"until": 1_781_096_400_000}).line()
    assert off["until"] == "2026-06-10T13:00:00.000Z"
    assert Event(0, "fault", {"rule": "a", "why": "x"}).line() == {
        "t": "1970-01-01T00:00:00.000Z",
        "type": "fault",
        "rule": "a",
        "why": "x",
    }


def test_times_in_what_an_act_carries_are_times_too() -> None:
    """The data of an act is text: there a time is digits, and any other text stays as it is."""
    line = Event(0, "act", {"kind": "acknowledge", "since": "1781092740000", "known_upto": "x"}).line()
    assert (line["since"], line["known_upto"]) == ("2026-06-10T11:59:00.000Z", "x")
    line = Event(0, "act", {"kind": "calibrate", "effective": "1781092740000", "at": "1781092740000"}).line()
    assert line["effective"] == line["at"] == "2026-06-10T11:59:00.000Z"
