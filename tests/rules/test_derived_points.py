"""Are points that are worked out from others as the design says: where all inputs are fresh, rounded, worst flag?"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from rules.block import Block, block
from rules.conditions import KINDS
from rules.derived_settings import AnyDerived
from rules.engine import Engine
from rules.errors import SettingError, UnitError
from rules.plan import Plan, PointPlan

MINUTE = 60_000
POINTS = (
    PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE),
    PointPlan("tank.oxygen", "dissolved_oxygen", "mg/L", Fraction(1, 100), MINUTE, 3 * MINUTE),
    PointPlan("sump.level", "level", "cm", Fraction(1, 10), MINUTE, 10 * MINUTE),
)


def engine(*tables: dict[str, Any], rules: tuple[dict[str, Any], ...] = ()) -> Engine:
    """An engine with derived points, from time 0."""
    adapter: TypeAdapter[Any] = TypeAdapter(AnyDerived)
    derived = tuple(adapter.validate_python(table) for table in tables)
    made = tuple(KINDS[rule["kind"]].model_validate(rule) for rule in rules)
    return Engine(Plan("Test", "UTC", POINTS, made, derived=derived, settle=0), 0)


SATURATION = {
    "id": "tank.saturation",
    "kind": "formula",
    "formula": "percent_saturation",
    "inputs": {"oxygen": "tank.oxygen", "temperature": "tank.temperature", "pressure": "760 mmHg"},
    "quantity": "ratio",
    "unit": "%",
    "resolution": "0.01",
}


def read(made: Engine, point: str) -> list[tuple[int, int]]:
    """(time, counts) of a point's readings in the last step."""
    span = made.tracks[point].span
    assert span is not None
    return [(int(t), int(v)) for t, v in zip(span.t, span.v, strict=True)]


def test_percent_saturation_agrees_with_the_published_value() -> None:
    """8.0 mg/L at 20 degC and 760 mmHg is 87.99 % (USGS equations, the project's reference values 1.3)."""
    made = engine(SATURATION)
    made.step([block("tank.temperature", [0], [200]), block("tank.oxygen", [10], [800])], [], 100)
    [(time, counts)] = read(made, "tank.saturation")
    assert time == 10
    assert counts == pytest.approx(8799, abs=5)


def test_it_speaks_only_where_an_input_speaks_and_all_are_fresh() -> None:
    """Not before the second input was heard, at each new reading of either, not after one of them fell silent."""
    made = engine(SATURATION)
    temperature = block("tank.temperature", [0, 60_000, 900_000], [200, 201, 202])
    oxygen = block("tank.oxygen", [30_000, 300_000], [800, 800])
    made.step([temperature, oxygen], [], 1_000_000)
    # At 300 000 ms the temperature of 60 000 ms has been stale for 60 s; at 900 000 ms the oxygen has.
    assert [time for time, _ in read(made, "tank.saturation")] == [30_000, 60_000]


def test_the_last_instant_of_a_hold_still_counts() -> None:
    """At `last + stale_after` an input is in time; a millisecond later it is not."""
    for late, speaks in ((180_000, True), (180_001, False)):
        made = engine(SATURATION)
        made.step([block("tank.temperature", [0], [200]), block("tank.oxygen", [late], [800])], [], 400_000)
        assert bool(read(made, "tank.saturation")) is speaks


def test_its_flag_is_the_worst_of_its_inputs() -> None:
    """A pass and a not-evaluated input give not evaluated."""
    made = engine(SATURATION)
    made.step([block("tank.temperature", [0], [200], [1]), block("tank.oxygen", [0, 1], [800, 800], [1, 2])], [], 100)
    span = made.tracks["tank.saturation"].span
    assert span is not None
    assert span.f.tolist() == [1, 2]


def test_outside_its_range_it_gives_no_value_and_never_a_silent_one() -> None:
    """Water of 45 degC is outside 0 to 40: a reading flagged 4, which no rule uses."""
    made = engine(SATURATION)
    made.step([block("tank.temperature", [0], [450]), block("tank.oxygen", [0], [800])], [], 100)
    assert read(made, "tank.saturation") == []
    assert made.newest()["tank.saturation"] == (0, 0, 4)


def test_a_rule_judges_it_like_any_point() -> None:
    """A band on percent saturation raises its alarm at the instant of the reading that made it low."""
    rule = {"id": "tank.thin", "kind": "band", "point": "tank.saturation", "low": 50}
    made = engine(SATURATION, rules=(rule,))
    events = made.step([block("tank.temperature", [0], [200]), block("tank.oxygen", [0, 500], [800, 400])], [], 1_000)
    [(t, body)] = [(event.t, event.body) for event in events]
    assert (t, body["state"], body["unit"]) == (500, "unacknowledged", "%")


def test_a_weighted_sum_and_a_ratio() -> None:
    """Litres from a level, and a level against its commissioning value."""
    litres = {
        "id": "sump.litres", "kind": "linear", "weights": {"sump.level": "4.5"}, "constant": "10",
        "quantity": "volume", "unit": "L", "resolution": "0.1",
    }  # fmt: skip
    share = {"id": "sump.share", "kind": "ratio", "of": "sump.level", "by": "400 mm", "resolution": "0.001"}
    made = engine(litres, share)
    made.step([block("sump.level", [0], [300])], [], 100)
    assert read(made, "sump.litres") == [(0, 1450)]
    assert read(made, "sump.share") == [(0, 750)]


@pytest.mark.parametrize(
    ("take", "expected"), [("min", 280), ("max", 300), ("mean", 290), ("spread", 20), ("loss", 1200)]
)
def test_over_a_window(take: str, expected: int) -> None:
    """Three readings a minute apart, 30, 29 and 28 cm: extremes, mean, spread, and a loss of 60 cm an hour."""
    table = {"id": "sump.x", "kind": "over_window", "point": "sump.level", "take": take, "window": "2 min"}
    if take == "loss":
        table |= {"resolution": "0.05"}
    made = engine(table)
    made.step([block("sump.level", [0, MINUTE, 2 * MINUTE], [300, 290, 280])], [], 3 * MINUTE)
    assert read(made, "sump.x")[-1] == (2 * MINUTE, expected)


LITRES = {
    "id": "sump.litres", "kind": "linear", "weights": {"sump.level": "10"}, "quantity": "volume", "unit": "L",
    "resolution": "0.1",
}  # fmt: skip


@pytest.mark.parametrize(
    ("own", "unit", "value"), [({}, "L/h", 600), ({"unit": "L/min"}, "L/min", 10), ({"unit": "m3/h"}, "m3/h", "0.6")]
)
def test_a_loss_of_volume_is_a_flow(own: dict[str, str], unit: str, value: Any) -> None:
    """10 L in a minute are 600 L/h, 10 L/min, 0.6 m3/h."""
    loss = {"id": "x", "kind": "over_window", "point": "sump.litres", "take": "loss", "window": "2 min"} | own
    made = engine(LITRES, loss)
    made.step([block("sump.level", [0, MINUTE, 2 * MINUTE], [300, 290, 280])], [], 3 * MINUTE)
    assert (made.points["x"].quantity, made.points["x"].unit) == ("flow", unit)
    assert read(made, "x")[-1][1] * made.points["x"].resolution == Fraction(value)


def test_a_loss_of_volume_may_stay_a_volume() -> None:
    """So much an hour, where quantity or unit says so."""
    for own in ({"quantity": "volume"}, {"unit": "L"}):
        loss = {"id": "x", "kind": "over_window", "point": "sump.litres", "take": "loss", "window": "2 min"} | own
        made = engine(LITRES, loss)
        made.step([block("sump.level", [0, MINUTE, 2 * MINUTE], [300, 290, 280])], [], 3 * MINUTE)
        assert made.points["x"].unit == "L"
        assert read(made, "x")[-1][1] * made.points["x"].resolution == 600


def test_a_ratio_may_be_in_per_cent() -> None:
    """300 of 400 mm are 75 %."""
    made = engine({"id": "x", "kind": "ratio", "of": "sump.level", "by": "400 mm", "unit": "%", "resolution": "0.1"})
    made.step([block("sump.level", [0], [300])], [], 100)
    assert read(made, "x") == [(0, 750)]


REFUSED = [
    ({"id": "x", "kind": "over_window", "point": "sump.level", "take": "loss", "unit": "L/h"}, UnitError, "sump.level"),
    ({"id": "x", "kind": "over_window", "point": "sump.level", "take": "max", "unit": "L"}, UnitError, "sump.level"),
    ({"id": "x", "kind": "ratio", "of": "sump.level", "by": "400 mm", "unit": "mm"}, UnitError, "in 1 or %"),
    (SATURATION | {"formula": "percent_saturaton"}, ValueError, "percent_saturation"),
    (SATURATION | {"inputs": {"oxygen": "tank.oxygen"}}, ValueError, "needs temperature"),
    (SATURATION | {"inputs": SATURATION["inputs"] | {"salt": 1}}, ValueError, "has no argument 'salt'"),  # type: ignore[operator]  # a dict beside strings
    ({"id": "x", "kind": "ratio", "of": "tank.oxygen", "by": "tank.temperature"}, UnitError, "do not measure the same"),
    ({"id": "x", "kind": "ratio", "of": "tank.oxygen", "by": 0}, SettingError, "divides by zero"),
    ({"id": "x", "kind": "linear", "weights": {"moon.level": 1}}, SettingError, "no point above it"),
    ({"id": "x", "kind": "linear", "weights": {"sump.level": 1}}, SettingError, "needs quantity and unit"),
]


@pytest.mark.parametrize(("table", "error", "message"), REFUSED)
def test_what_cannot_be_worked_out_is_refused_by_name(
    table: dict[str, Any], error: type[Exception], message: str
) -> None:
    """Unknown formulas, arguments, points and units are named when the engine is built."""
    with pytest.raises(error, match=message):
        engine(table)


readings = st.lists(st.tuples(st.integers(0, 20 * MINUTE), st.integers(0, 400)), max_size=40)


@given(readings, readings, st.lists(st.integers(0, 21 * MINUTE), max_size=6))
def test_cuts_never_matter(first: list[tuple[int, int]], second: list[tuple[int, int]], cuts: list[int]) -> None:
    """One block or many, the derived readings are the same to the bit."""
    vapour = {
        "id": "tank.loss", "kind": "over_window", "point": "tank.oxygen", "take": "loss", "window": "5 min",
        "resolution": "0.001",
    }  # fmt: skip
    whole = {
        point: block(point, [t for t, _ in sorted(dict(found).items())], [v for _, v in sorted(dict(found).items())])
        for point, found in (("tank.temperature", first), ("tank.oxygen", second))
    }
    seen: list[list[tuple[str, int, int]]] = []
    for borders in ([], cuts):
        made = engine(SATURATION, vapour)
        got: list[tuple[str, int, int]] = []
        before = -1
        for border in [*sorted(set(borders)), 25 * MINUTE]:
            parts: list[Block] = [part.between(before, border) for part in whole.values()]
            made.step(parts, [], border)
            got += [(name, t, v) for name in ("tank.saturation", "tank.loss") for t, v in read(made, name)]
            before = border
        seen.append(sorted(got))
    assert seen[0] == seen[1]
    assert np.all([isinstance(v, int) for _, _, v in seen[0]])
