"""Do whole columns of text parse as each text alone does?"""

from __future__ import annotations

import zoneinfo
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from adapters.payloads.times import parse_epoch, parse_rfc3339
from adapters.recordings.decimals import LONG, MISSING, parse_decimals, parse_number, to_counts
from adapters.recordings.fields import PADDING, Column, split
from adapters.recordings.instants import LocalTime, parse_instants
from rules.door import LARGEST_COUNT, Door, door
from rules.errors import ValueRefused
from rules.units import UNITS, Unit

DUBLIN = zoneinfo.ZoneInfo("Europe/Dublin")
ZONES = [DUBLIN, *map(zoneinfo.ZoneInfo, ("Australia/Lord_Howe", "Asia/Kathmandu", "America/St_Johns", "UTC"))]


def column(texts: list[str]) -> Column:
    raw = [text.encode() for text in texts]
    lengths = np.array([len(text) for text in raw], np.int64)
    starts = np.concatenate(([0], np.cumsum(lengths + 1)[:-1])).astype(np.int64)
    body = b",".join(raw) + b"\n" + bytes(PADDING)
    return Column(np.frombuffer(body, np.uint8), starts, lengths)


UNIT = st.sampled_from(sorted(UNITS.values(), key=lambda unit: unit.symbol))
NEAR_A_NUMBER = st.text(alphabet="0123456789.+-eE x", max_size=26)
NUMBER = st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12, places=6).map(str)


@given(st.lists(st.one_of(NEAR_A_NUMBER, NUMBER), min_size=1, max_size=20))
@example(["999999999999999999", "-999999999999999999", "1000000000000000000", "99999999999999999999", ".", "-", "+.5"])
def test_a_column_of_decimals_is_each_decimal(texts: list[str]) -> None:
    """Mantissa and places are the decimal that was written, or the text goes the slow way, and only then fails."""
    mantissa, places = parse_decimals(column(texts))
    for text, whole, place in zip(texts, mantissa.tolist(), places.tolist(), strict=True):
        if place == MISSING:
            assert text == ""
        elif place != LONG:
            assert parse_number(text) == Decimal(whole).scaleb(-place)


def test_plain_numbers_do_not_go_the_slow_way() -> None:
    """Up to 18 digits, with or without sign and point."""
    texts = ["0", "-0.5", "+21.34", "21.", ".5", "123456789.123456789", "0.30000000000000004"]
    assert (parse_decimals(column(texts))[1] >= 0).all()


@given(
    st.lists(st.tuples(st.integers(-(10**18), 10**18), st.integers(0, 18)), min_size=1, max_size=20),
    UNIT,
    st.data(),
    st.sampled_from([Fraction(1, 1000), Fraction(1, 4), Fraction(1), Fraction(1, 10**12)]),
)
def test_counts_of_a_column_are_the_counts_of_each(
    values: list[tuple[int, int]], unit: Unit, data: st.DataObject, resolution: Fraction
) -> None:
    """The same counts, remainders and refusals as Door.count, whatever the units."""
    own = data.draw(st.sampled_from([other for other in UNITS.values() if other.dimension == unit.dimension]))
    through = door(unit, own, resolution)
    mantissa = np.array([value for value, _ in values], np.int64)
    places = np.array([place for _, place in values], np.int8)
    counts, rounded, too_large = to_counts(mantissa, places, through)
    for row, (whole, place) in enumerate(values):
        try:
            wanted = through.count(Fraction(whole, 10**place))
        except ValueRefused:
            assert too_large[row]
        else:
            assert not too_large[row]
            assert (counts[row], rounded[row]) == wanted


def test_zeros_in_a_far_off_unit() -> None:
    """A column of nothing but zeros does not overflow, however fine the resolution."""
    through = door(UNITS["L"], UNITS["gal"], Fraction(1, 10**12))
    assert to_counts(np.zeros(2, np.int64), np.zeros(2, np.int8), through)[0].tolist() == [0, 0]


def test_ties_go_to_the_even_count_beyond_64_bits_too() -> None:
    """Quarters of 10^-18 do not fit into int64; 0.5, 1.5 and 2.5 counts are 0, 2 and 2."""
    mantissa = np.array([2 * 10**18, 6 * 10**18, 6 * 10**18 + 1, -(2 * 10**18), 2 * 10**18 + 1], np.int64)
    counts, rounded, _ = to_counts(mantissa, np.full(5, 18, np.int8), Door(Fraction(1, 4), Fraction(0)))
    assert counts.tolist() == [0, 2, 2, 0, 1]
    assert rounded.all()


@pytest.mark.parametrize(("beyond", "refused"), [(-1, False), (0, False), (1, True)])
def test_the_largest_count(beyond: int, refused: bool) -> None:
    """Below, at and above 2^53."""
    for sign in (1, -1):
        value = np.array([sign * (LARGEST_COUNT + beyond)], np.int64)
        _, _, too_large = to_counts(value, np.zeros(1, np.int8), Door(Fraction(1), Fraction(0)))
        assert bool(too_large[0]) is refused


TWO = [f"{number:02d}" for number in range(100)]
WRITTEN = st.builds(
    "{}-{}-{}{}{}:{}:{}{}{}".format,
    st.integers(0, 9999).map("{:04d}".format),
    st.sampled_from(TWO[:14]),
    st.sampled_from(TWO[:33]),
    st.sampled_from("Tt _"),
    st.sampled_from(TWO[:26]),
    st.sampled_from(TWO[:62]),
    st.sampled_from(TWO[:63]),
    st.one_of(st.just(""), st.text(alphabet="0123456789", max_size=11).map(".{}".format), st.sampled_from([".x", ","])),
    st.one_of(
        st.sampled_from(["", "Z", "z", "+00:00", "-00:00", "+0100", "X", "+24:00", "+12:60"]),
        st.builds("{}{}:{}".format, st.sampled_from("+-"), st.sampled_from(TWO[:25]), st.sampled_from(TWO[:61])),
    ),
)
LIKELY = st.builds(
    "20{}-{}-{}T{}:{}:{}{}".format,
    st.sampled_from(TWO[10:40]),
    st.sampled_from(TWO[1:13]),
    st.sampled_from(TWO[1:32]),
    st.sampled_from(TWO[:24]),
    st.sampled_from(TWO[:60]),
    st.sampled_from(TWO[:60]),
    st.sampled_from(["", "Z", ".5", ".25Z", "+01:00", ".123-11:30", ".0005Z", ".0015Z", ".9995"]),
)
SECONDS = st.one_of(
    st.integers(-(10**13), 10**13).map(str),
    st.decimals(min_value=-(10**11), max_value=10**12, places=3).map(str),
    st.decimals(min_value=0, max_value=10**10, places=9).map(str),
    st.sampled_from(["253402300799", "253402300799.999", "253402300800", "-253402300800", "1e9", "0.0005", "0.0015"]),
)


@given(
    st.lists(st.one_of(WRITTEN, LIKELY, SECONDS, NEAR_A_NUMBER), min_size=1, max_size=30),
    st.sampled_from(ZONES),
)
@example(["2026-03-29T01:30:00", "2026-10-25T01:30:00", "2026-10-25T00:59:59", "2026-10-25T02:00:00"], DUBLIN)
@example(["2026-10-04T01:59:59", "2026-10-04T02:00:00", "2026-10-04T02:29:59", "2026-10-04T02:30:00"], ZONES[1])
@example(["2000-02-29T00:00:00Z", "1900-02-29T00:00:00Z", "2100-02-29T00:00:00", "2024-02-30T00:00:00", ""], DUBLIN)
def test_a_column_of_times_is_each_time(texts: list[str], zone: zoneinfo.ZoneInfo) -> None:
    """The same instants as the slow parser finds, and the same texts refused."""
    times, faults = parse_instants(column(texts), LocalTime(zone))
    for row, text in enumerate(texts):
        try:
            wanted = parse_rfc3339(text, zone)
        except ValueRefused:
            try:
                wanted = parse_epoch(parse_number(text))
            except ValueRefused:
                assert row in faults
                continue
        assert row not in faults
        assert times[row] == wanted


@given(st.lists(st.lists(st.text(alphabet='ab ,"\r\x00é', max_size=4), min_size=1, max_size=4), min_size=1, max_size=8))
def test_each_line_is_split_or_faulty_or_blank(lines: list[list[str]]) -> None:
    """Every line is regular, has a fault, or holds nothing; and a regular one has the right fields."""
    text = "\n".join(",".join(line) for line in lines) + "\n"
    stretch = text.encode()
    found = split(stretch, 3, 1)
    assert found.count == stretch.count(b"\n")
    regular = set(found.lines.tolist())
    assert not regular & set(found.faults)
    for number, line in enumerate(stretch.split(b"\n")[:-1], start=1):
        if number not in regular | set(found.faults):
            assert line.removesuffix(b"\r").strip(b" \r") == b"" or b'"' in line
        if number in regular and b'"' not in line:
            row = found.lines.tolist().index(number)
            wanted = [field.strip(b" ") for field in line.removesuffix(b"\r").split(b",")]
            assert [part.raw(row) for part in found.columns] == wanted
