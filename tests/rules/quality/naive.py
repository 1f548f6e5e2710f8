"""What flags does one get by judging one reading at a time, with all earlier ones at hand and exact fractions?

Written for clarity alone, from the settings' meaning and not from the columns' code; it judges the fast one.
"""

from __future__ import annotations

import datetime as dt
from fractions import Fraction
from typing import NamedTuple
from zoneinfo import ZoneInfo

from rules.plan import PointPlan
from rules.quality.attenuated import AttenuatedSettings
from rules.quality.climatology import ClimatologySettings, UsualSpan
from rules.quality.codes import CodesSettings
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gap import GapSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.rate_of_change import RateOfChangeSettings
from rules.quality.settings import QualitySettings
from rules.quality.spike import SpikeSettings
from rules.units import exact

RANK = {9: 0, 2: 1, 1: 2, 3: 3, 4: 4}


class Reading(NamedTuple):
    """time: ms; counts: None where missing."""

    time: int
    counts: int | None


def worst(flags: list[int]) -> int:
    return max(flags, key=lambda flag: RANK[flag], default=2)


def graded(is_suspect: bool, is_fail: bool) -> int:
    return 4 if is_fail else 3 if is_suspect else 1


def judge_all(
    tests: list[QualitySettings], point: PointPlan, readings: list[Reading], zone: str
) -> tuple[list[int], list[int]]:
    """(flags as known when each reading was judged, flags in the end). Amounts of the settings are plain numbers."""
    amount = [None if r.counts is None else r.counts * point.resolution for r in readings]
    believed: list[bool] = []
    """Whether others are compared with a reading."""
    known: list[int] = []
    for i, reading in enumerate(readings):
        value = amount[i]
        if value is None:
            believed.append(False)
            known.append(9)
            continue
        first = [flag_alone(test, point, value) for test in tests]
        believed.append(4 not in first)
        flags = [flag for flag in first if flag]
        for test in tests:
            if isinstance(test, GapSettings):
                flags.append(4 if i and reading.time - readings[i - 1].time > test.limit else 1)
            elif believed[i]:
                flags.append(compared(test, point, readings, amount, believed, i, zone))
        known.append(worst(flags))
    final = list(known)
    for test in tests:
        if isinstance(test, SpikeSettings):
            for i in range(1, len(readings) - 1):
                final[i] = worst([final[i], spike(test, point, readings, amount, believed, i)])
    return known, final


def number(value: object) -> Fraction | None:
    return None if value is None else exact(value)  # type: ignore[arg-type]  # plain numbers are all that is used here


def outside(value: Fraction, low: object, high: object) -> bool:
    bottom, top = number(low), number(high)
    return (bottom is not None and value < bottom) or (top is not None and value > top)


def flag_alone(test: QualitySettings, point: PointPlan, value: Fraction) -> int:
    """The flag of a test that says whether there is a value at all; 0 for other tests."""
    if isinstance(test, CodesSettings):
        codes = [round(exact(code) / point.resolution) * point.resolution for code in test.values]
        return 4 if value in codes else 1
    if isinstance(test, GrossRangeSettings):
        fails = outside(value, test.fail_low, test.fail_high)
        return graded(outside(value, test.suspect_low, test.suspect_high), fails)
    return 0


def compared(
    test: QualitySettings,
    point: PointPlan,
    readings: list[Reading],
    amount: list[Fraction | None],
    believed: list[bool],
    i: int,
    zone: str,
) -> int:
    value = amount[i]
    assert value is not None
    now = readings[i].time
    earlier = [j for j in range(i + 1) if believed[j]]
    if isinstance(test, ClimatologySettings):
        flag = 2
        for span in test.spans:
            if speaks(span, now, zone) and (span.low, span.high, span.fail_low, span.fail_high) != (None,) * 4:
                flag = graded(outside(value, span.low, span.high), outside(value, span.fail_low, span.fail_high))
        return flag
    if isinstance(test, RateOfChangeSettings):
        before = amount[i - 1] if i and believed[i - 1] else None
        wait = now - readings[i - 1].time
        if before is None or wait > point.stale_after:
            return 2
        rate = abs(value - before) / Fraction(wait, 1000)
        suspect, fail = number(test.suspect), number(test.fail)
        return graded(suspect is not None and rate > suspect, fail is not None and rate > fail)
    if isinstance(test, FlatLineSettings):
        times = [time for time in (test.suspect_time, test.fail_time) if time is not None]
        begin = len(earlier) - 1
        while begin and readings[earlier[begin]].time - readings[earlier[begin - 1]].time <= min(
            *times, point.stale_after
        ):
            begin -= 1
        line = earlier[begin:]

        def is_flat(length: int | None) -> bool:
            if length is None or now - readings[line[0]].time < length:
                return False
            window = [amount[j] for j in line if readings[j].time >= now - length]
            within = [v for v in window if v is not None]
            return max(within) - min(within) <= exact(test.tolerance)

        return graded(is_flat(test.suspect_time), is_flat(test.fail_time))
    if isinstance(test, AttenuatedSettings):
        window = [amount[j] for j in earlier if readings[j].time > now - test.period]
        within = [v for v in window if v is not None]
        if len(within) < test.min_readings:
            return 2
        suspect, fail = number(test.suspect), number(test.fail)
        if test.kind == "range":
            spread = max(within) - min(within)
            return graded(suspect is not None and spread < suspect, fail is not None and spread < fail)
        mean = sum(within, Fraction(0)) / len(within)
        variance = sum(((v - mean) ** 2 for v in within), Fraction(0)) / len(within)
        return graded(suspect is not None and variance < suspect**2, fail is not None and variance < fail**2)
    return 2


def speaks(span: UsualSpan, now: int, zone: str) -> bool:
    local = dt.datetime.fromtimestamp(now / 1000, ZoneInfo(zone))
    if span.months is not None:
        first, _, last = span.months.partition("-")
        a, b = int(first), int(last or first)
        if not (a <= local.month <= b if a <= b else local.month >= a or local.month <= b):
            return False
    if span.hours is None:
        return True
    begin, end = (dt.time.fromisoformat(part) for part in span.hours.split("-"))
    return begin <= local.time() < end if begin < end else local.time() >= begin or local.time() < end


def spike(
    test: SpikeSettings,
    point: PointPlan,
    readings: list[Reading],
    amount: list[Fraction | None],
    believed: list[bool],
    i: int,
) -> int:
    a, b, c = amount[i - 1 : i + 2]
    near = max(readings[i].time - readings[i - 1].time, readings[i + 1].time - readings[i].time) <= point.stale_after
    if a is None or b is None or c is None or not all(believed[i - 1 : i + 2]) or not near:
        return 2 if amount[i] is not None else 9
    if test.method == "average":
        size = abs(b - (a + c) / 2)
    else:
        size = min(abs(b - a), abs(c - b)) if (b - a) * (c - b) < 0 else Fraction(0)
    suspect, fail = number(test.suspect), number(test.fail)
    return graded(suspect is not None and size > suspect, fail is not None and size > fail)
