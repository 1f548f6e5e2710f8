"""Is how far temperatures lie apart never taken for a temperature? One kelvin of it is 1.8 degrees Fahrenheit."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from pydantic import TypeAdapter

from rules.block import block
from rules.conditions import KINDS
from rules.derived_points import DerivedPlan
from rules.derived_settings import AnyDerived
from rules.door import door
from rules.engine import Engine
from rules.errors import SettingError, UnitError
from rules.plan import Plan, PointPlan
from rules.quantities import QUANTITIES
from rules.showing import show
from rules.units import parse_unit

MINUTE = 60_000
TANK = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE)
SUMP = PointPlan("sump.temperature", "water_temperature", "degF", Fraction(1, 10), MINUTE, 3 * MINUTE)
SWING = {"id": "tank.swing", "kind": "over_window", "point": "tank.temperature", "take": "spread", "window": "2 min"}
SWING_BAND = {"id": "swing", "kind": "band", "point": "tank.swing", "on_delay": "0 s", "priority": "low", "do": "look"}


def derived(table: dict[str, Any]) -> Any:
    """The settings of a derived point."""
    adapter: TypeAdapter[Any] = TypeAdapter(AnyDerived)
    return adapter.validate_python(table)


def engine(table: dict[str, Any], *rules: dict[str, Any]) -> Engine:
    """An engine of the tank and one derived point, from time 0, shown in degF."""
    made = tuple(KINDS[rule["kind"]].model_validate(rule) for rule in rules)
    plan = Plan("Test", "UTC", (TANK, SUMP), made, derived=(derived(table),), settle=0, temperature_unit="degF")
    return Engine(plan, 0)


def last(made: Engine, point: str) -> str:
    """The last reading of a point in its last step, as the keeper sees it."""
    span = made.tracks[point].span
    assert span is not None
    return show(made.plan, made.tracks[point].plan, int(span.v[-1]))


def step(made: Engine, *tenths: int) -> list[str]:
    """The types of the events of a step over readings of the tank, one a minute from 0."""
    times = [index * MINUTE for index in range(len(tenths))]
    found = made.step([block("tank.temperature", times, list(tenths))], [], times[-1] + 1)
    return [event.type for event in found]


def test_a_spread_of_one_degree_is_shown_as_1_8_degrees_fahrenheit() -> None:
    """27.0, 27.6, 28.0 degC lie 1.0 degC apart, which is 1.8 degF and not 33.8."""
    made = engine(SWING)
    step(made, 270, 276, 280)
    assert last(made, "tank.swing") == "1.8 °F"


def test_a_loss_of_temperature_is_shown_as_a_difference() -> None:
    """0.1 degC lost each minute is 6 degC or 10.8 degF an hour."""
    made = engine({**SWING, "take": "loss"})
    step(made, 280, 279, 278, 277)
    assert last(made, "tank.swing") == "10.8 °F"


@pytest.mark.parametrize(("tenths", "alarms"), [(289, 0), (290, 0), (291, 1)], ids=["below", "at", "above"])
def test_a_limit_in_fahrenheit_is_a_difference_too(tenths: int, alarms: int) -> None:
    """3.6 degF of spread is 2.0 degC; below and at it nothing rings, above it does."""
    made = engine(SWING, {**SWING_BAND, "high": "3.6 degF"})
    assert step(made, 270, 271, tenths).count("alarm") == alarms


def test_a_spread_of_a_point_in_fahrenheit_is_in_kelvin() -> None:
    """1.8 degF apart is 1 K apart, to the default resolution."""
    made = engine({**SWING, "point": "sump.temperature"})
    times = [0, MINUTE, 2 * MINUTE]
    made.step([block("sump.temperature", times, [700, 705, 718])], [], times[-1] + 1)
    span = made.tracks["tank.swing"].span
    assert span is not None
    assert span.v[-1] * made.tracks["tank.swing"].plan.resolution == 1
    assert last(made, "tank.swing") == "1.8 °F"


def test_the_lowest_of_a_window_stays_a_temperature() -> None:
    """27.0 degC is 80.6 degF."""
    made = engine({**SWING, "take": "min"})
    step(made, 270, 276, 280)
    assert last(made, "tank.swing") == "80.6 °F"


@pytest.mark.parametrize(
    ("more", "error", "told"),
    [
        ({"quantity": "water_temperature"}, SettingError, 'quantity = "temperature_difference"'),
        ({"unit": "degF"}, UnitError, "is kept in K"),
    ],
)
def test_a_spread_of_temperatures_cannot_pass_for_a_temperature(
    more: dict[str, str], error: type[Exception], told: str
) -> None:
    """Neither by its quantity nor by a unit whose zero lies elsewhere."""
    with pytest.raises(error, match=told):
        DerivedPlan(derived({**SWING, **more}), {TANK.id: TANK})


def test_two_temperatures_subtracted_are_a_difference() -> None:
    """A weighted sum with 1 and -1 of quantity temperature_difference, as between a tank and its sump."""
    table = {"id": "drop", "kind": "linear", "weights": {"tank.temperature": 1, "upper.temperature": -1}}
    upper = PointPlan("upper.temperature", "water_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE)
    settings = derived({**table, "quantity": "temperature_difference", "unit": "K", "resolution": "0.1"})
    made = Engine(Plan("Test", "UTC", (TANK, upper), derived=(settings,), settle=0, temperature_unit="degF"), 0)
    made.step([block("tank.temperature", [0], [250]), block("upper.temperature", [0], [270])], [], 1)
    assert last(made, "drop") == "-3.6 °F"


HEAT = {
    "id": "heat",
    "kind": "formula",
    "formula": "air_stream_heat",
    "inputs": {"flow": "fan", "difference": "9 degF"},
}
FAN = PointPlan("fan", "flow", "m3/s", Fraction(1, 100), MINUTE, 3 * MINUTE)
RISE = PointPlan("rise", "temperature_difference", "K", Fraction(1, 10), MINUTE, 3 * MINUTE)


def test_a_fixed_difference_of_a_formula_converts_by_its_scale() -> None:
    """0.10 m3/s of air 9 degF warmer carries the same heat as of air 5 K warmer."""
    powers = []
    for difference in ("9 degF", "5", "rise"):
        settings = derived({**HEAT, "inputs": {"flow": "fan", "difference": difference}})
        made = Engine(Plan("Test", "UTC", (FAN, RISE), derived=(settings,), settle=0), 0)
        made.step([block("fan", [0], [10]), block("rise", [0], [50])], [], 1)
        span = made.tracks["heat"].span
        assert span is not None
        powers.append(int(span.v[-1]))
    assert powers[0] == powers[1] == powers[2] > 0


@pytest.mark.parametrize(
    ("formula", "argument", "point", "told"),
    [
        ("air_stream_heat", {"flow": "fan", "difference": TANK.id}, TANK, "how far temperatures lie apart"),
        ("saturation_vapour_pressure", {"temperature": RISE.id}, RISE, "is a temperature, and rise measures"),
        ("saturation_vapour_pressure", {"temperature": FAN.id}, FAN, "measures flow, not temperature"),
    ],
)
def test_a_formula_refuses_a_point_that_measures_something_else(
    formula: str, argument: dict[str, str], point: PointPlan, told: str
) -> None:
    """A temperature is no difference, a difference no temperature, and a flow neither."""
    with pytest.raises(UnitError, match=told):
        DerivedPlan(derived({**HEAT, "formula": formula, "inputs": argument}), {FAN.id: FAN, point.id: point})


def test_a_temperature_and_a_difference_are_not_compared() -> None:
    """A spread rule over both is refused."""
    rule = KINDS["spread"].model_validate(
        {
            "id": "apart",
            "kind": "spread",
            "points": ["tank.temperature", "rise"],
            "span": "1",
            "priority": "low",
            "do": "look",
        }
    )
    with pytest.raises(UnitError, match="do not measure the same"):
        Engine(Plan("Test", "UTC", (TANK, RISE), (rule,), settle=0), 0)


def test_a_probe_that_sends_a_difference_in_fahrenheit_is_read_by_its_scale() -> None:
    """1.8 degF apart is 1 K apart at the door."""
    assert door(parse_unit("degF"), RISE.units, RISE.resolution).count("1.8") == (10, False)


def test_a_difference_is_kept_in_kelvin_alone() -> None:
    """A store that knows only unit and value could not tell 5 degF apart from 5 degF of cold."""
    kind = QUANTITIES["temperature_difference"]
    assert kind.accepts("K").symbol == "K"
    for symbol in ("degC", "degF"):
        with pytest.raises(UnitError, match="kept in K"):
            kind.accepts(symbol)
