"""Are SDI-12 probes asked and understood as the standard says, on a bus where things go wrong?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.backoff import Backoff
from adapters.sdi12.bus import Bus
from adapters.sdi12.connection import Sdi12Adapter
from adapters.sdi12.replies import (
    ReplyRefused,
    body,
    crc_text,
    parse_address,
    parse_identity,
    parse_measuring,
    parse_values,
)
from adapters.sdi12.settings import Sdi12Settings
from adapters.serial_port import Port, PortSettings
from tests.adapters.sdi12.probes import Probe, ProbeBus, crc_characters
from tests.adapters.wires import NOW, Answering, Kept, MovedClock, Quick, Wire
from tests.fed_points import POINTS
from tests.waiting import until

PRINTED = [
    # SDI-12 version 1.4, 4.4.12.3 and 4.4.8.1; the fourth from an instrument's manual
    ("0+3.14", "OqZ"),
    ("0+3.14+2.718+1.414", "Ipz"),
    ("0", "AP@"),
    ("1+2.7+85.2-0.2-2.7+770.5", "CAH"),
    ("7+1013.2", "EO\x7f"),
]


@pytest.mark.parametrize(("text", "crc"), PRINTED)
def test_the_crc_is_that_of_the_printed_examples(text: str, crc: str) -> None:
    """Also where it ends in DEL; the simulator, written from the text, agrees."""
    assert crc_text(text.encode()) == crc.encode()
    assert crc_characters(text) == crc
    assert body(f"{text}{crc}\r\n".encode(), text[0], crc=True) == text[1:].encode()


def test_replies_are_understood_as_printed() -> None:
    """Times, numbers and values of the standard's own examples (4.4.6 and 4.4.7)."""
    assert parse_measuring(b"0359") == (35, 9)
    assert parse_measuring(b"0101") == (10, 1)
    assert parse_measuring(b"01320") == (13, 20)
    assert parse_values(b"+22.5+61.3") == [Decimal("22.5"), Decimal("61.3")]
    assert parse_values(b"-0.5") == [Decimal("-0.5")]
    assert parse_values(b"") == []
    assert parse_address(b"3\r\n") == "3"
    told = parse_identity(b"14TIDEFARMSOIL-2100S/N 0042")
    assert told[:4] == ("14", "TIDEFARM", "SOIL-2", "100")
    assert told.more == "S/N 0042"


@pytest.mark.parametrize("text", [b"+12345678", b"1.5", b"+", b"+1.2.3", b"+1,5", b"+ 1", b"+1e5", b"+NaN", b"+."])
def test_values_that_no_probe_may_send_are_refused(text: bytes) -> None:
    """Eight digits, no sign, no digit, two points and the like."""
    with pytest.raises(ReplyRefused) as told:
        parse_values(text)
    assert told.value.cause == "broken reply"


CAUSES = ("", "no answer", "broken reply", "bad checksum", "other address")


def cause_of(parse: Callable[[], object]) -> str:
    try:
        parse()
    except ReplyRefused as error:
        return error.cause
    return ""


@given(st.binary(max_size=90), st.booleans())
def test_any_reply_is_values_or_a_cause(line: bytes, crc: bool) -> None:
    """Nothing else is raised, whatever parser is asked."""
    for parse in (parse_values, parse_measuring, parse_identity):
        assert cause_of(lambda parse=parse: parse(body(line, "0", crc=crc))) in CAUSES  # type: ignore[misc]


@given(st.data())
def test_one_changed_byte_is_seen_by_the_crc(data: st.DataObject) -> None:
    """Any other byte at any place: refused, or at least no other values."""
    values = data.draw(st.lists(st.sampled_from(["+1.5", "-0.25", "+770.5"]), min_size=1, max_size=5))
    text = "0" + "".join(values)
    line = (text + crc_characters(text)).encode()
    at = data.draw(st.integers(0, len(line) - 1))
    other = data.draw(st.integers(0, 255).filter(lambda byte: byte != line[at]))
    with pytest.raises(ReplyRefused):
        body(line[:at] + bytes([other]) + line[at + 1 :] + b"\r\n", "0", crc=True)


def table(wire: Wire, *probes: dict[str, Any], **changes: Any) -> Sdi12Settings:
    return Sdi12Settings.model_validate(
        {
            "port": str(wire.path),
            "baud": 9600,
            "framing": "8N1",
            "wake": False,
            "every": "60 s",
            "answer_within": "150 ms",
            "probes": list(probes),
        }
        | changes
    )


ONE = {"address": "0", "values": [{"point": "tank.temperature", "at": 1}]}
TWO = {
    "address": "3",
    "command": "CC",
    "values": [{"point": "tank.oxygen", "at": 1}, {"point": "loop.flow", "at": 12}],
}


@contextmanager
def polling(bus: ProbeBus, wire: Wire, kept: Kept, settings: Sdi12Settings) -> Iterator[Sdi12Adapter]:
    made = Sdi12Adapter(settings, POINTS, "x", pace=Quick(), backoff=Backoff(0.02, 0.1))
    with Answering(wire, bus.answer):
        made.start(kept, MovedClock())
        try:
            yield made
        finally:
            made.stop()


def test_several_probes_of_a_bus_are_read(tmp_path: Path) -> None:
    """By M with a service request and by C beside it, over two pages of values, with CRCs; identities once."""
    wire, kept = Wire(tmp_path), Kept()
    values = ["+7.25", *["+1234.56"] * 10, "+8.5"]
    bus = ProbeBus(Probe("0", ["+21.5", "+3"]), Probe("3", values, seconds=2), echo=True)
    with polling(bus, wire, kept, table(wire, ONE, TWO)) as adapter:
        until(lambda: len(kept.readings()) >= 9)
        assert [(r.point, r.time, r.counts) for r in kept.readings()[:3]] == [
            ("tank.temperature", NOW, 21500),
            ("tank.oxygen", NOW, 725),
            ("loop.flow", NOW, 850),
        ]
        assert kept.causes() == []
        assert bus.probes[0].asked.count("0I") == bus.probes[1].asked.count("3I") == 1
        assert {"0MC", "0D0"} <= set(bus.probes[0].asked)
        assert {"3CC", "3D0", "3D1"} <= set(bus.probes[1].asked)
        assert adapter.identities["0"].maker == "TIDEFARM"
        assert adapter.health().state == "connected"


def test_continuous_values_are_read_at_once(tmp_path: Path) -> None:
    """R0 and RC0 begin no measurement."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"]))
    with polling(bus, wire, kept, table(wire, ONE | {"command": "RC0"})):
        until(lambda: len(kept.counts()) >= 2)
        assert set(kept.counts()) == {21500}
        assert not any("M" in command for command in bus.probes[0].asked)


def test_a_probe_that_asks_for_no_service_is_read_when_its_time_is_over(tmp_path: Path) -> None:
    """After the seconds that it named."""
    wire, kept = Wire(tmp_path), Kept()
    with polling(ProbeBus(Probe("0", ["+21.5"], service=False)), wire, kept, table(wire, ONE)):
        until(lambda: kept.counts())
        assert kept.counts()[0] == 21500


def test_one_bad_crc_in_ten_costs_no_reading(tmp_path: Path) -> None:
    """It is asked for again; what was bad is counted, and no wrong value comes through."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"], seconds=0, spoil=10))
    with polling(bus, wire, kept, table(wire, ONE, every="1 s")) as adapter:
        until(lambda: len(kept.counts()) >= 40)
        assert set(kept.counts()) == {21500}
        assert adapter.health().refused["retried: bad checksum"] >= 3
        assert set(adapter.health().refused) == {"retried: bad checksum"}


def test_a_silent_probe_does_not_keep_the_others(tmp_path: Path) -> None:
    """The others are read in every round; it is taken up again when it answers."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"], silent=True), Probe("3", ["+7.25"] * 12))
    with polling(bus, wire, kept, table(wire, ONE, TWO)) as adapter:
        until(lambda: kept.counts().count(725) >= 3)
        assert 21500 not in kept.counts()
        assert adapter.health().refused["no answer"] >= 2
        bus.probes[0].silent = False
        until(lambda: 21500 in kept.counts())


def test_a_probe_that_changes_its_address_is_told_and_no_other_is_taken_for_it(tmp_path: Path) -> None:
    """The search finds it by what it says of itself; a stranger at its place gives no reading."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"]))
    with polling(bus, wire, kept, table(wire, ONE, answer_within="40 ms", retries=1)) as adapter:
        until(lambda: kept.counts())
        bus.probes[0].address = "5"
        until(lambda: adapter.health().refused["address changed"])
        assert any(
            'write address = "5"' in refusal.detail for delivery in kept.deliveries for refusal in delivery.refusals
        )
        read = len(kept.counts())
        bus.probes.append(Probe("0", ["+99"], identity="14OTHER   THING-001"))
        until(lambda: adapter.health().refused["another probe"])
        assert len(kept.counts()) == read


def test_a_probe_must_be_what_the_settings_say(tmp_path: Path) -> None:
    """`is` names a part of its identification."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"]))
    with polling(bus, wire, kept, table(wire, ONE | {"is": "S/N 0043"})) as adapter:
        until(lambda: adapter.health().refused["another probe"])
        assert kept.counts() == []


def test_the_address_of_a_lone_probe_is_found(tmp_path: Path) -> None:
    """By ?!, with the break and an adaptor's echo."""
    wire = Wire(tmp_path)
    with (
        Answering(wire, ProbeBus(Probe("z", []), echo=True).answer),
        Port(PortSettings.model_validate({"port": str(wire.path)})) as port,
    ):
        assert Bus(port, wake=True, answer_within=2.0).whose() == "z"


def test_a_bus_that_is_unplugged_comes_back(tmp_path: Path) -> None:
    """Health says why meanwhile."""
    wire, kept = Wire(tmp_path), Kept()
    bus = ProbeBus(Probe("0", ["+21.5"], seconds=0))
    with polling(bus, wire, kept, table(wire, ONE)) as adapter:
        until(lambda: kept.counts())
        wire.unplug()
        until(lambda: adapter.health().state == "waiting")
        before = len(kept.counts())
        wire.plug()
        until(lambda: len(kept.counts()) > before)
        assert adapter.health().state == "connected"


@pytest.mark.parametrize("probe", [{"address": "?"}, {"command": "D0"}, {"command": "R"}, {"values": []}])
def test_settings_that_the_standard_does_not_know_are_refused(probe: dict[str, Any], tmp_path: Path) -> None:
    """Before the port is opened."""
    with pytest.raises(ValidationError):
        table(Wire(tmp_path), ONE | probe)
