"""Do lines of a serial port become readings, whatever happens to the wire?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.backoff import Backoff
from adapters.checks import crc8, crc16, crc16_ccitt, xor8
from adapters.serial_line.connection import SerialLineAdapter
from adapters.serial_line.cutting import Cutter
from adapters.serial_line.decode import LineDecoder
from adapters.serial_line.settings import SerialLineSettings
from tests.adapters.wires import NOW, Kept, MovedClock, Wire
from tests.fed_points import POINTS
from tests.waiting import until

ONE: dict[str, Any] = {"port": "/dev/null", "fields": [{"point": "tank.temperature"}]}
CSV: dict[str, Any] = {
    "port": "/dev/null",
    "line": "csv",
    "begins": "TANK,",
    "columns": 3,
    "fields": [{"point": "tank.temperature", "at": 1}, {"point": "tank.oxygen", "at": 3}],
}
PAIRS: dict[str, Any] = {
    "port": "/dev/null",
    "line": "pairs",
    "separator": " ",
    "fields": [{"point": "tank.temperature", "key": "t", "unit": "degF"}, {"point": "loop.flow", "key": "flow"}],
}
JSON: dict[str, Any] = {
    "port": "/dev/null",
    "line": "json",
    "fields": [{"point": "tank.temperature", "value": "/t", "time": "/at", "time_format": "s"}],
}


def decode(line: bytes, table: dict[str, Any], **changes: Any) -> tuple[list[tuple[str, int]], list[str]]:
    found = LineDecoder(SerialLineSettings.model_validate(table | changes), POINTS).decode(line, NOW)
    return [(r.point, r.counts) for r in found.readings], [r.cause for r in found.refusals]


def test_the_sums_agree_with_their_catalogue_values() -> None:
    """ "123456789" of the catalogue of CRCs; the ROM of a one-wire probe 02 1C B8 01 00 00 00 -> A2 (maker's note)."""
    assert crc16(b"123456789") == 0xBB3D
    assert crc16(b"123456789", 0xFFFF) == 0x4B37
    assert crc16_ccitt(b"123456789") == 0x29B1  # from memory
    assert crc8(bytes.fromhex("021CB801000000")) == 0xA2
    assert xor8(b"GPGLL,5300.97914,N,00259.98174,E,125926,A") == 0x28  # a printed NMEA 0183 example, from memory


def test_each_pattern_gives_its_readings() -> None:
    """A number, columns, pairs with a unit of the board's own, and JSON."""
    assert decode(b" 21.5 ", ONE) == ([("tank.temperature", 21500)], [])
    assert decode(b"TANK,21.5,x,7.25", CSV) == ([("tank.temperature", 21500), ("tank.oxygen", 725)], [])
    assert decode(b"flow=8.5 t=68", PAIRS) == ([("tank.temperature", 20000), ("loop.flow", 850)], [])
    assert decode(b'{"t":21.5,"at":1775182470}', JSON) == ([("tank.temperature", 21500)], [])


@pytest.mark.parametrize(
    ("line", "table", "cause"),
    [
        (b"BED,21.5,x,7.25", CSV, "other line"),
        (b"TANK,21.5,7.25", CSV, "wrong number of columns"),
        (b"t=68 t=69 flow=1", PAIRS, "key stands twice"),
        (b"21.5.5", ONE, "not a number"),
        (b"\xff\x00\x80", ONE, "not a number"),
        (b'{"t":21.5', JSON, "not JSON"),
        (b'{"t":21.5}', JSON, "no time"),
        (b'{"t":21.5,"at":1}', JSON, "time before 2000"),
    ],
)
def test_what_is_none_is_refused_by_cause(line: bytes, table: dict[str, Any], cause: str) -> None:
    """No reading, and the word to count it by."""
    assert decode(line, table) == ([], [cause])


def test_a_missing_part_costs_its_own_point_only() -> None:
    """The others of the line are read."""
    assert decode(b"flow=8.5", PAIRS) == ([("loop.flow", 850)], ["no value"])
    assert decode(b"TANK,,x,7.25", CSV) == ([("tank.oxygen", 725)], ["empty"])


def test_a_line_whose_sum_is_wrong_or_missing_is_refused() -> None:
    """Any one byte changed, dropped or doubled is seen."""
    good = b"$TANK,21.5,x,7.25*%02X" % xor8(b"TANK,21.5,x,7.25")
    assert decode(good, CSV, checksum="xor")[1] == []
    for at in range(1, len(good) - 3):
        assert decode(good[:at] + bytes([good[at] ^ 1]) + good[at + 1 :], CSV, checksum="xor")[0] == []
        assert decode(good[:at] + good[at + 1 :], CSV, checksum="xor")[0] == []
    assert decode(b"TANK,21.5,x,7.25", CSV, checksum="xor") == ([], ["bad checksum"])
    sealed = b"21.5*%04x" % crc16(b"21.5", 0xFFFF)
    assert decode(sealed, ONE, checksum="crc16_modbus") == ([("tank.temperature", 21500)], [])
    assert decode(sealed, ONE, checksum="crc16_arc") == ([], ["bad checksum"])


@pytest.mark.parametrize(
    "changes",
    [
        {"fields": [{"point": "a"}, {"point": "b"}]},
        {"fields": [{"point": "a", "at": 1}]},
        {"line": "csv"},
        {"columns": 2},
        {"line": "csv", "columns": 2, "fields": [{"point": "a", "at": 3}]},
        {"fields": [{"point": "a", "unit": "furlong"}]},
        {"framing": "9N1"},
        {"fields": []},
    ],
)
def test_settings_that_do_not_fit_are_refused(changes: dict[str, Any]) -> None:
    """Before any port is opened."""
    with pytest.raises(ValidationError):
        SerialLineSettings.model_validate(ONE | changes)


def cut(*parts: bytes, longest: int = 16, quiet_first: bool = True) -> tuple[list[bytes], list[str]]:
    cutter = Cutter(longest)
    if quiet_first:
        cutter.quiet()
    lines: list[bytes] = []
    causes: list[str] = []
    for part in parts:
        more, refused = cutter.feed(part) if part else ([], cutter.quiet())
        lines += more
        causes += [refusal.cause for refusal in refused]
    return lines, causes


def test_lines_are_whole_wherever_the_bytes_are_cut() -> None:
    """CR, LF and both end a line; empty lines are none."""
    assert cut(b"1.5\r", b"\n2.", b"5\n\n3.5\r") == ([b"1.5", b"2.5", b"3.5"], [])


def test_the_first_line_counts_only_after_quiet() -> None:
    """Else it may be the tail of a longer one: 3.5 of 23.5."""
    assert cut(b"3.5\n4.5\n", quiet_first=False) == ([b"4.5"], ["cut line"])
    assert cut(b"3.5\n4.5\n") == ([b"3.5", b"4.5"], [])


def test_a_line_that_breaks_off_is_never_joined_to_what_comes_later() -> None:
    """12, a pause, 3.4: neither 123.4 nor 3.4 is a reading."""
    assert cut(b"12", b"", b"3.4\n5.5\n") == ([b"5.5"], ["line broke off", "cut line"])
    assert cut(b"12", b"", b"", b"3.4\n5.5\n") == ([b"5.5"], ["line broke off", "cut line"])


def test_a_line_that_is_too_long_is_counted_once_and_not_kept() -> None:
    """At the limit it is read; one byte more is refused, and the next line is heard."""
    assert cut(b"x" * 16 + b"\n1\n") == ([b"x" * 16, b"1"], [])
    assert cut(b"x" * 17, b"x" * 50, b"x\n1\n") == ([b"1"], ["line too long"])


@given(st.lists(st.one_of(st.binary(max_size=40), st.sampled_from([b"", b"\n", b"21.5\r\n", b"$*41\n"])), max_size=20))
def test_any_bytes_are_lines_or_causes(parts: list[bytes]) -> None:
    """No line is longer than allowed or has an end in it, and every line gives a reading or a refusal."""
    lines, _ = cut(*parts)
    for line in lines:
        assert 0 < len(line) <= 16
        for table in (ONE, CSV, PAIRS, JSON):
            for checksum in ("none", "xor", "crc16_ccitt"):
                readings, causes = decode(line, table, checksum=checksum)
                assert readings or causes


@contextmanager
def listening(wire: Wire, kept: Kept, **changes: Any) -> Iterator[SerialLineAdapter]:
    table = ONE | {"port": str(wire.path)} | changes
    made = SerialLineAdapter(SerialLineSettings.model_validate(table), POINTS, "x", backoff=Backoff(0.02, 0.1))
    made.start(kept, MovedClock())
    try:
        yield made
    finally:
        made.stop()


def test_lines_of_a_real_terminal_are_read(tmp_path: Path) -> None:
    """Through a pseudo-terminal, in order, with the noise between them counted."""
    wire, kept = Wire(tmp_path), Kept()
    with listening(wire, kept) as adapter:
        until(lambda: adapter.health().state == "connected")
        wire.send(b"cut\n21.5\n\xfe\xff#\n21.6\n" + b"9" * 3000 + b"\n21.7\n")
        until(lambda: len(kept.counts()) == 3)
        assert kept.counts() == [21500, 21600, 21700]
        assert set(kept.causes()) <= {"cut line", "not a number", "line too long"}
        assert adapter.health().refused["line too long"] == 1
        assert adapter.health().received == 3
    assert adapter.health().state == "stopped"


def test_a_port_that_vanishes_in_a_line_is_opened_again_by_its_name(tmp_path: Path) -> None:
    """What had come of the line is not joined to what comes after; health tells why meanwhile."""
    wire, kept = Wire(tmp_path), Kept()
    with listening(wire, kept) as adapter:
        until(lambda: adapter.health().state == "connected")
        wire.send(b"cut\n21.5\n2")
        until(lambda: kept.counts() == [21500])
        wire.unplug()
        until(lambda: adapter.health().state == "waiting")
        assert str(wire.path) in adapter.health().last_error
        wire.plug()
        until(lambda: adapter.health().state == "connected")
        wire.send(b"2.5\n22.6\n")
        until(lambda: 22600 in kept.counts())
        assert 22500 not in kept.counts()


def test_an_inlet_that_is_full_holds_only_the_wire(tmp_path: Path) -> None:
    """The adapter says so, can be stopped meanwhile, and hands on when there is room again."""
    wire, kept = Wire(tmp_path), Kept()
    kept.full = True
    with listening(wire, kept) as adapter:
        until(lambda: adapter.health().state == "connected")
        wire.send(b"cut\n21.5\n")
        until(lambda: adapter.health().state == "waiting")
        kept.full = False
        until(lambda: kept.counts() == [21500])
        until(lambda: adapter.health().state == "connected")


def test_a_port_that_cannot_do_what_is_asked_is_told(tmp_path: Path) -> None:
    """A pseudo-terminal has no seven bits; the adapter waits and says so."""
    wire, kept = Wire(tmp_path), Kept()
    with listening(wire, kept, framing="7E1") as adapter:
        until(lambda: adapter.health().state == "waiting")
        assert "7E1" in adapter.health().last_error
