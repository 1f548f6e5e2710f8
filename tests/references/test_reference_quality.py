"""Do the quality tests give the flags of the QARTOD manuals, and those of their reference library?

The vectors are outputs of ioos_qc 3.0.0, n is a missing value, readings are 60 s apart where nothing else is said.
Where that library departs from the manuals or from good sense, the docstring says what is expected instead and why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ioos_qc import qartod  # type: ignore[import-untyped]  # the package ships no types

from rules.block import Block, block
from rules.durations import MINUTE
from rules.errors import SettingError
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.all_points import final_flags
from rules.quality.attenuated import AttenuatedSettings, as_a_whole
from rules.quality.climatology import ClimatologySettings
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gap import GapSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.rate_of_change import RateOfChangeSettings
from rules.quality.settings import QualitySettings
from rules.quality.spike import SpikeSettings
from rules.quality.verdicts import aggregate
from tests.rules.quality.made import made

NEVER = 2**60
POINT = PointPlan("tank.value", "ratio", "1", Fraction(1, 10**7), MINUTE, NEVER)
"""A point whose readings are never too far apart to be compared."""
n = None
Values = Sequence[float | None]


def part(values: Values, times: Sequence[int] | None = None, step: int = 60) -> Block:
    """Readings of POINT; times and step in seconds."""
    seconds = times if times is not None else range(0, step * len(values), step)
    counts = [None if v is None else int(Decimal(repr(v)) / Decimal("1e-7")) for v in values]
    return block(POINT.id, [1000 * s for s in seconds], counts)


def flags(test: QualitySettings, values: Values, times: Sequence[int] | None = None, step: int = 60) -> list[int]:
    """The final flags of readings."""
    return final(test, part(values, times, step))


def final(test: QualitySettings, readings: Block) -> list[int]:
    """The final flags of a block of POINT."""
    point = replace(POINT, quality=(test,))
    return list(final_flags([point], {POINT.id: readings}, Zone("UTC"))[POINT.id].tolist())


def masked(values: Values) -> np.ndarray[Any, Any]:
    return np.array([np.nan if v is None else v for v in values])


def seconds(values: Values, step: int = 60) -> np.ndarray[Any, Any]:
    return np.arange(len(values)) * np.timedelta64(step, "s") + np.datetime64("2026-01-01")


# ------------------------------------------------------------------------------------------------------- gross range


@pytest.mark.parametrize(
    ("fail", "suspect", "values", "expected"),
    [
        ((-5, 50), (15, 30), [-5.1, -5, 0, 14.9, 15, 22, 30, 30.1, 50, 50.01, n], [4, 3, 3, 3, 1, 1, 1, 3, 3, 4, 9]),
        ((0, 14), (6, 9.5), [5.9, 6, 6.4, 7, 8.6, 9.5, 9.51, 14, 14.01, n, -0.01], [3, 1, 1, 1, 1, 1, 3, 3, 4, 9, 4]),
        ((10, 50), (20, 40), [5, 10, 15, 20, 25, 30, 35, 40, 45, 51], [4, 3, 3, 1, 1, 1, 1, 1, 3, 4]),
        ((0, 25), (n, n), [0, 5, 25, 26, -1], [1, 1, 1, 4, 4]),
    ],
)
def test_gross_range(fail: Any, suspect: Any, values: Values, expected: list[int]) -> None:
    """Outside the probe's span 4, outside the user's 3, the ends of both pass."""
    test = made(
        GrossRangeSettings, fail_low=fail[0], fail_high=fail[1], suspect_low=suspect[0], suspect_high=suspect[1]
    )
    assert flags(test, values) == expected


@pytest.mark.parametrize(
    "spans",
    [
        {"fail_low": 5, "fail_high": 1},
        {"suspect_low": 5, "suspect_high": 1},
        {"fail_low": 5, "suspect_low": 4},
        {"fail_high": 5, "suspect_high": 6},
        {},
    ],
)
def test_gross_range_refuses_what_cannot_be_meant(spans: dict[str, Any]) -> None:
    """A span upside down, a user's span that reaches out of the probe's, and no limit at all."""
    with pytest.raises(SettingError):
        flags(made(GrossRangeSettings, **spans), [1])


# ------------------------------------------------------------------------------------------------------------- spike


@pytest.mark.parametrize(
    ("limits", "method", "values", "expected"),
    [
        ((0.5, 1.5), "average", [20, 20, 20.4, 20, 20, 21, 20, 20, 22, 20], [2, 1, 1, 1, 1, 3, 1, 3, 4, 2]),
        ((25, 50), "average", [10, 12, 999.99, 13, 15, 40, 9, 9], [2, 4, 4, 4, 1, 3, 1, 2]),
        ((0.5, 1.5), "average", [20, 20, 20.5, 20, 20, 21.5, 20], [2, 1, 1, 1, 3, 3, 2]),
        ((0.5, 1.5), "average", [20, n, 25, 20, 20, n, 20, 20], [2, 9, 2, 4, 2, 9, 2, 2]),
        ((0.5, 1.5), "average", [20, 20, 25, 25, 20, 20], [2, 4, 4, 4, 4, 2]),
        ((0.5, 1.5), "average", [20, 21, 22, 23, 24, 25], [2, 1, 1, 1, 1, 2]),
        ((0.5, 1.5), "average", [20, 21, 23, 21, 20, 26, 20], [2, 1, 4, 1, 4, 4, 2]),
        ((0.5, 1.5), "average", [20, 30], [2, 2]),
        ((0.5, 1.5), "differential", [20, 20, 22, 20, 20, 20, 19, 20], [2, 1, 4, 1, 1, 1, 3, 2]),
        ((0.5, 1.5), "differential", [20, 20, 25, 25, 20, 20], [2, 1, 1, 1, 1, 2]),
        ((0.5, 1.5), "differential", [20, 21, 23, 21, 20, 26, 20], [2, 1, 4, 1, 3, 4, 2]),
    ],
)
def test_spike(limits: tuple[float, float], method: Any, values: Values, expected: list[int]) -> None:
    """Strictly further from the neighbours than a limit; the ends, and what has no neighbour, are not evaluated."""
    assert flags(made(SpikeSettings, suspect=limits[0], fail=limits[1], method=method), values) == expected


# ---------------------------------------------------------------------------------------------------- rate of change


@pytest.mark.parametrize(
    ("suspect", "fail", "values", "times", "expected"),
    [
        ("1 1/min", n, [20, 20.5, 21.5, 21.5, 19, 19], n, [2, 1, 1, 1, 3, 1]),
        ("1 1/min", "2 1/min", [20, 20.5, 21.5, 21.5, 19, 19], n, [2, 1, 1, 1, 4, 1]),
        ("1 1/min", n, [20, 21, 22, 24, 23, 23], n, [2, 1, 1, 3, 1, 1]),
        ("0.1 1/min", n, [8, 8.1, n, 8.2, 6, 6.1], range(0, 1800, 300), [2, 1, 9, 2, 3, 1]),
        ("1 1/min", n, [20, 20.5, 25.5, 26.6], [0, 60, 660, 720], [2, 1, 1, 3]),
    ],
)
def test_rate_of_change(suspect: str, fail: str, values: Values, times: Any, expected: list[int]) -> None:
    """Strictly faster than a limit in time. What has nothing to be compared with is 2; the library says 1 there."""
    assert flags(made(RateOfChangeSettings, suspect=suspect, fail=fail), values, times) == expected


def test_steps_within_a_second_are_judged() -> None:
    """The library rounds times to seconds and never flags there: 1 a second is exceeded by 0.6 in half a second."""
    quick = block(POINT.id, [0, 500, 1000], [0, 6_000_000, 10_000_000])
    assert final(made(RateOfChangeSettings, suspect=1), quick) == [2, 3, 1]


# --------------------------------------------------------------------------------------------------------- flat line

_STEPS = [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]


@pytest.mark.parametrize(
    ("suspect", "fail", "tolerance", "values", "expected"),
    [
        (180, 300, 0.01, _STEPS, [1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3]),
        (180, 300, 0.05, [7, *[7.1] * 7, 7.2, 7.2], [1, 1, 1, 1, 3, 3, 4, 4, 1, 1]),
        (180, 300, 1e-06, [7.1] * 8, [1, 1, 1, 3, 3, 4, 4, 4]),
        (120, 240, 1e-06, [7.1] * 8, [1, 1, 3, 3, 4, 4, 4, 4]),
        (180, 300, 0.02, [5, 5.005, 5.01, 5.015, 5.02, 5.025, 5.03, 5.035], [1, 1, 1, 3, 3, 3, 3, 3]),
        (180, 300, 0.01, [5, 5, n, 5, 5, 5, 5, 6], [1, 1, 9, 3, 3, 4, 4, 1]),
    ],
)
def test_flat_line(suspect: int, fail: int, tolerance: float, values: Values, expected: list[int]) -> None:
    """Flagged where nothing in the window moved by more than the tolerance, once the window is filled."""
    assert flags(flat(suspect, fail, tolerance), values) == expected


def flat(suspect: int, fail: int, tolerance: float) -> FlatLineSettings:
    return made(FlatLineSettings, suspect_time=f"{suspect} s", fail_time=f"{fail} s", tolerance=repr(tolerance))


def test_a_tolerance_of_zero_finds_what_repeats_exactly() -> None:
    """The library compares strictly and never flags it."""
    assert flags(flat(180, 300, 0), [7.1] * 8) == [1, 1, 1, 3, 3, 4, 4, 4]


def test_two_short_runs_do_not_join_over_a_gap() -> None:
    """The library counts readings by their median interval and flags the second run; nobody knows what lay between."""
    times = [0, 60, 120, 21600, 21660, 21720]
    assert flags(flat(180, 600, 0.01), [7.1] * 6, times) == [1, 1, 1, 1, 1, 1]


# -------------------------------------------------------------------------------------------------- attenuated signal


@pytest.mark.parametrize(
    ("limits", "kind", "values", "expected"),
    [
        ((0.75, 0.5), "std", [1, 2, 3, 4], [1, 1, 1, 1]),
        ((2, 1), "std", [1, 2, 3, 4], [3, 3, 3, 3]),
        ((1.2, 0.5), "std", [1, 2, 3, 4], [3, 3, 3, 3]),
        ((5, 3.5), "range", [1, 2, 3, 4], [4, 4, 4, 4]),
        ((5, 3), "range", [1, 2, 3, 4], [3, 3, 3, 3]),
        ((0.5, 0.2), "range", [20, n, 20, 20.1, 20, 20.1], [4, 9, 4, 4, 4, 4]),
    ],
)
def test_attenuated_as_a_whole(limits: tuple[float, float], kind: str, values: Values, expected: list[int]) -> None:
    """Without a period the whole recording is one: all its readings get the same flag."""
    test = made(AttenuatedSettings, suspect=limits[0], fail=limits[1], kind=kind, period="1 s", min_readings=2)
    assert as_a_whole(test, POINT, part(values)).tolist() == expected


@pytest.mark.parametrize(
    ("period", "least", "values", "expected"),
    [
        (240, 2, [20, 20.1, 20, 20.1, 20, 22, 24, 26], [2, 4, 4, 4, 4, 1, 1, 1]),
        (240, 4, [20, 20.1, 20, 20.1, 20, 22, 24, 26], [2, 2, 2, 4, 4, 1, 1, 1]),
        (180, 2, [20, 20.3, 20, 20.3, 20, 20.1, 20, 20.1], [2, 3, 3, 3, 3, 3, 4, 4]),
    ],
)
def test_attenuated_over_a_period(period: int, least: int, values: Values, expected: list[int]) -> None:
    """The range over (t - period, t]; the library flags even a single reading, whose range is 0: that one is 2."""
    test = made(AttenuatedSettings, suspect=0.5, fail=0.2, kind="range", period=f"{period} s", min_readings=least)
    assert flags(test, values) == expected


# -------------------------------------------------------------------------------------------------------- climatology

_MOMENTS = [
    "2026-01-15T00:00", "2026-03-31T23:59", "2026-04-01T00:00", "2026-07-01T00:00",
    "2026-07-01T00:01", "2026-09-30T00:00", "2026-10-01T00:00", "2026-12-25T00:00",
]  # fmt: skip


@pytest.mark.parametrize(
    ("fail", "values", "expected"),
    [
        ((n, n, n, n), [9.9, 10, 14.9, 28, 28.1, n, 20, 15], [3, 1, 3, 1, 3, 9, 2, 2]),
        ((0, 40, 5, 35), [-1, 10, 4.9, 35, 35.1, n, 20, 15], [4, 1, 4, 3, 4, 9, 2, 2]),
    ],
)
def test_climatology(fail: Any, values: Values, expected: list[int]) -> None:
    """3 outside the usual span, 4 outside the possible one, 2 where none speaks; missing is 9, the library says 1."""
    spans = [
        {"months": "1-3", "low": 10, "high": 20, "fail_low": fail[0], "fail_high": fail[1]},
        {"months": "4-9", "low": 15, "high": 28, "fail_low": fail[2], "fail_high": fail[3]},
    ]
    times = [int(np.datetime64(moment, "s").astype(int)) for moment in _MOMENTS]
    assert flags(ClimatologySettings.model_validate({"spans": spans}), values, times) == expected


# ------------------------------------------------------------------------------------------------------ gap, together


def test_gap() -> None:
    """More than 2 h after the one before is 4, 2 h and a minute, and not 1 h 59 min."""
    times = [0, 3600, 10740, 18000, 19800]
    assert flags(made(GapSettings, limit="2 h"), [1, 1, 1, 1, 1], times) == [1, 1, 1, 4, 1]


def test_aggregate() -> None:
    """4 over 3 over 1 over 2 over 9: a pass hides that another test was not evaluated."""
    each = [
        [1, 1, 1, 9, 1, 1, 9, 9, 2, 2],
        [2, 1, 1, 1, 1, 1, 9, 9, 2, 9],
        [1, 3, 3, 4, 3, 1, 2, 9, 2, 9],
    ]
    assert aggregate([np.array(one, np.uint8) for one in each]).tolist() == [1, 3, 3, 4, 3, 1, 2, 9, 2, 2]


# ------------------------------------------------------------------------------- the library itself, on random series

EIGHTHS = st.lists(st.one_of(st.none(), st.integers(-40, 40).map(lambda k: k / 8)), min_size=4, max_size=40)
"""Values that binary floats hold exactly, so that ties are ties for both."""
FULL = st.lists(st.integers(-40, 40).map(lambda k: k / 8), min_size=4, max_size=40)
LIMITS = st.tuples(st.integers(1, 24), st.integers(0, 24)).map(lambda pair: (pair[0] / 8, (pair[0] + pair[1]) / 8))


@settings(max_examples=60, deadline=None)
@given(values=EIGHTHS, inner=LIMITS)
def test_gross_range_is_that_of_the_library(values: Values, inner: tuple[float, float]) -> None:
    """On random series with ties and missing values."""
    user, probe = inner
    expected = qartod.gross_range_test(masked(values), fail_span=(-probe, probe), suspect_span=(-user, user))
    test = made(GrossRangeSettings, fail_low=-probe, fail_high=probe, suspect_low=-user, suspect_high=user)
    assert flags(test, values) == expected.tolist()


@settings(max_examples=100, deadline=None)
@given(values=EIGHTHS, limits=LIMITS, method=st.sampled_from(["average", "differential"]))
def test_spike_is_that_of_the_library(values: Values, limits: tuple[float, float], method: Any) -> None:
    """Both methods, on random series with ties and missing values."""
    expected = qartod.spike_test(masked(values), *limits, method=method)
    assert flags(made(SpikeSettings, suspect=limits[0], fail=limits[1], method=method), values) == expected.tolist()


@settings(max_examples=60, deadline=None)
@given(values=FULL, limits=LIMITS)
def test_rate_of_change_is_that_of_the_library(values: Values, limits: tuple[float, float]) -> None:
    """But for the first reading, which the library passes. Steps of 64 s keep the quotients exact."""
    suspect, fail = (limit / 64 for limit in limits)
    expected = qartod.rate_of_change_test(masked(values), seconds(values, 64), suspect, fail).tolist()
    test = made(RateOfChangeSettings, suspect=repr(suspect), fail=repr(fail))
    assert flags(test, values, step=64)[1:] == expected[1:]


@settings(max_examples=100, deadline=None)
@given(
    values=st.lists(st.sampled_from([1, 1.125, 1.25, 3]), min_size=4, max_size=40),
    windows=st.tuples(st.integers(1, 6), st.integers(0, 6)),
    tolerance=st.sampled_from([0.0625, 0.1875, 0.3125]),
)
def test_flat_line_is_that_of_the_library(values: Values, windows: tuple[int, int], tolerance: float) -> None:
    """At even steps and away from ties, which the library leaves out and the flat rule takes in."""
    suspect, fail = 60 * windows[0], 60 * (windows[0] + windows[1])
    expected = qartod.flat_line_test(masked(values), seconds(values), suspect, fail, tolerance).tolist()
    assert flags(flat(suspect, fail, tolerance), values) == expected


@settings(max_examples=60, deadline=None)
@given(
    values=FULL,
    period=st.integers(2, 8),
    least=st.integers(2, 6),
    limits=st.tuples(st.integers(1, 20), st.integers(0, 10)),
    kind=st.sampled_from(["std", "range"]),
)
def test_attenuated_is_that_of_the_library(
    values: Values, period: int, least: int, limits: tuple[int, int], kind: Any
) -> None:
    """Standard deviation and range over a period, with a least number of readings."""
    least = min(least, period)
    fail, suspect = limits[0] / 7, (limits[0] + limits[1]) / 7
    expected = qartod.attenuated_signal_test(
        masked(values), seconds(values), suspect, fail, test_period=60 * period, min_obs=least, check_type=kind
    )
    test = made(
        AttenuatedSettings,
        suspect=repr(suspect),
        fail=repr(fail),
        kind=kind,
        period=f"{60 * period} s",
        min_readings=least,
    )
    assert flags(test, values) == expected.tolist()


@settings(max_examples=60, deadline=None)
@given(
    values=FULL,
    days=st.lists(st.integers(0, 700), min_size=40, max_size=40, unique=True),
    spans=st.lists(st.tuples(st.integers(1, 12), st.integers(0, 11), LIMITS), min_size=1, max_size=3),
)
def test_climatology_is_that_of_the_library(values: Values, days: list[int], spans: Any) -> None:
    """Spans of months that may overlap, with and without fail limits, over two years."""
    days = sorted(days[: len(values)])
    moments = np.array(days).astype("timedelta64[D]") + np.datetime64("2025-01-01")
    config, ours = qartod.ClimatologyConfig(), []
    for first, more, (usual, possible) in spans:
        last = min(12, first + more)
        config.add((first, last), (-usual, usual), fspan=(-possible, possible), period="month")
        ours.append(
            {
                "months": f"{first}-{last}",
                "low": -usual,
                "high": usual,
                "fail_low": -possible,
                "fail_high": possible,
            }
        )
    expected = qartod.climatology_test(config, masked(values), moments, np.full(len(values), np.nan))
    times = moments.astype("datetime64[s]").astype(int).tolist()
    assert flags(ClimatologySettings.model_validate({"spans": ours}), values, times) == expected.tolist()
