"""Which tests does a point have by default, and how does its keeper change them?"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from rules.block import block
from rules.durations import DAY, HOUR, MINUTE
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.chosen import Chosen, chosen
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.quality import Quality
from rules.quantities import QUANTITIES

WRITTEN: TypeAdapter[Any] = TypeAdapter(Chosen)


def point(quantity: str, unit: str | None = None) -> PointPlan:
    own = QUANTITIES[quantity]
    return PointPlan("a.point", quantity, unit or own.unit, own.resolution, MINUTE, 3 * MINUTE)


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_defaults_of_every_quantity_fit_it(name: str) -> None:
    """Each builds for the quantity's own unit, and lets both ends of its plausible span pass."""
    own = QUANTITIES[name]
    quality = Quality(tuple(chosen(None, own).values()), point(name), Zone("UTC"))
    ends = [round(own.low / own.resolution), round(own.high / own.resolution)]
    if quality.tests:
        assert quality.judge(block("a.point", [0, MINUTE], ends))[0].tolist() == [1, 1]


def test_what_no_probe_can_send_fails_by_default_in_any_unit() -> None:
    """Codes of one-wire probes, and a hair outside the plausible span: 158 degF is 70 degC."""
    quality = Quality(tuple(chosen(None, QUANTITIES["air_temperature"]).values()), point("air_temperature", "degF"))
    counts = [round(Fraction(value) * 100) for value in ("158", "158.01", "185", "-196.6", "-58", "-58.01")]
    assert quality.judge(block("a.point", range(len(counts)), counts))[0].tolist() == [1, 4, 4, 4, 1, 4]


@pytest.mark.parametrize(
    "quantity", ["water_temperature", "air_temperature", "dissolved_oxygen", "ph", "flow", "level"]
)
def test_no_default_hides_a_true_change(quantity: str) -> None:
    """A step from one end of a usual span to the other and back within two readings passes as it is judged."""
    own = QUANTITIES[quantity]
    low, high = (
        round((own.low + (own.high - own.low) * part) / own.resolution) for part in (Fraction(1, 4), Fraction(3, 4))
    )
    quality = Quality(tuple(chosen(None, own).values()), point(quantity))
    values = [low] * 5 + [high] * 3 + [low] * 5
    flags, _ = quality.judge(block("a.point", range(0, MINUTE * len(values), MINUTE), values))
    assert set(flags.tolist()) == {1}


def test_half_a_day_of_the_same_oxygen_is_suspect_and_a_day_fails() -> None:
    """In a tank with fish and light it moves by a count at least."""
    own = QUANTITIES["dissolved_oxygen"]
    quality = Quality(tuple(chosen(None, own).values()), point("dissolved_oxygen"))
    times = np.arange(0, DAY + 1, MINUTE)
    flags, _ = quality.judge(block("a.point", times.tolist(), [6500] * len(times)))
    assert [int(np.argmax(flags == flag)) for flag in (3, 4)] == [12 * HOUR // MINUTE, DAY // MINUTE]


def test_none_means_no_tests() -> None:
    """Rules then take every reading as it comes."""
    assert chosen("none", QUANTITIES["ph"]) == {}


def test_a_table_changes_the_keys_it_names() -> None:
    """The probe's span stays where only the user's is written; other tests stay; `none` takes one away."""
    written = WRITTEN.validate_python(
        {"gross_range": {"suspect_low": 6, "suspect_high": 9}, "spike": "none", "gap": {"limit": "1 h"}}
    )
    found = chosen(written, QUANTITIES["ph"])
    assert list(found) == ["gross_range", "gap", "flat_line"]
    gross, flat = found["gross_range"], found["flat_line"]
    assert isinstance(gross, GrossRangeSettings)
    assert [str(end) for end in (gross.fail_low, gross.suspect_low)] == ["0 pH", "6"]
    assert isinstance(flat, FlatLineSettings)
    assert flat.suspect_time == DAY


@pytest.mark.parametrize(
    ("written", "place", "kind"),
    [
        ({"gros_range": {}}, "gros_range", "extra_forbidden"),
        ({"spike": {"suspekt": 1}}, "suspekt", "extra_forbidden"),
        ({"spike": {"method": "median"}}, "method", "literal_error"),
        ({"spike": "off"}, "spike", "literal_error"),
        ({"flat_line": {"suspect_time": 3}}, "suspect_time", "value_error"),
        ({"attenuated": {"suspect": 1, "period": "1 h"}}, "min_readings", "missing"),
    ],
)
def test_one_mistake_is_one_problem(written: Any, place: str, kind: str) -> None:
    """Though a table and a text may both stand there, only what was meant is explained."""
    with pytest.raises(ValidationError) as caught:
        WRITTEN.validate_python(written)
    (problem,) = caught.value.errors()
    assert (place in problem["loc"], problem["type"]) == (True, kind)
