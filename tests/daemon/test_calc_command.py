"""Does `tidebed calc` work out a derived quantity, list them all, and say what is wrong with what was typed?"""

from __future__ import annotations

import json

import pytest

from daemon.main import main
from rules.derived.record import Derived
from rules.derived.registry import DERIVED

Captured = pytest.CaptureFixture[str]


def test_a_quantity_comes_with_all_that_went_into_it(capsys: Captured) -> None:
    """9.09 mg/L at 20 degC and 760 mmHg in fresh water (USGS table of dissolved-oxygen saturation)."""
    words = ["calc", "oxygen_saturation", "temperature=20", "pressure=101.325", "salinity=0", "--json"]
    assert main(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["value"] == pytest.approx(9.09, abs=0.006)
    assert (found["name"], found["unit"]) == ("oxygen_saturation", "mg/L")
    assert found["arguments"]["pressure"] == {"value": 101.325, "unit": "kPa", "origin": "given"}
    assert {"equation", "source", "valid_range"} <= found.keys()


def test_numbers_may_carry_other_units_and_stand_in_for_others(capsys: Captured) -> None:
    """68 degF is 20 degC; an altitude gives the pressure of the standard atmosphere, told as such."""
    assert main(["calc", "oxygen_saturation", "temperature=68 degF", "altitude=100"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("oxygen_saturation = 8.98")
    assert "temperature = 20 degC\n" in out
    assert "pressure = 100.129 kPa  (altitude 100 m)\n" in out
    assert "salinity = 0 g/kg  (default)\n" in out


@pytest.mark.parametrize(
    ("own", "other"),
    [
        ("air_changes volume=226.534772736 flow=3.7755795456", "air_changes volume=8000ft3 flow=8000cfm"),
        ("turnover volume=378.5411784 flow=37.85411784", "turnover volume=100gal flow=10gal/min"),
        ("v_notch_flow level=0.3048 angle=60", "v_notch_flow level=1ft angle=60deg"),
        ("S temperature=20 humidity=50 pressure=101.325", "S temperature=293.15K humidity=0.5/ pressure=1atm"),
        ("S temperature=20 humidity=50 pressure=84.65972", "S temperature=68F humidity=50%RH pressure=25inHg"),
        ("S temperature=20 humidity=50 pressure=101.35293", "S temperature=20C humidity=50% pressure=14.7psi"),
        ("S temperature=20 humidity=50 pressure=95", "S temperature=20Cel humidity=50 pressure=950hPa"),
        ("tank_evaporation area=0.09290304 water_temperature=25 temperature=25 humidity=60 air_speed=0.3048",
         "tank_evaporation area=1ft2 water_temperature=77F temperature=77F humidity=60 air_speed=60ft/min"),
    ],
)  # fmt: skip
def test_units_of_the_trade_mean_what_they_say(own: str, other: str, capsys: Captured) -> None:
    """Cubic feet, US gallons, mercury, pounds and degrees; pressures as in Pint 0.25.3, within a millionth."""
    values = []
    for words in (own, other):
        assert main(["calc", *words.replace("S ", "specific_volume ").split(), "--json"]) == 0
        values.append(json.loads(capsys.readouterr().out)["value"])
    assert values[1] == pytest.approx(values[0], rel=1e-6)


@pytest.mark.parametrize("record", DERIVED.values(), ids=DERIVED.keys())
def test_every_refusal_names_the_argument_and_its_range(record: Derived, capsys: Captured) -> None:
    """A wrong unit, no number, infinity, too low, too high, left out, misspelt: exit 2, and the range to keep to."""
    first = record.arguments[0]
    for text in ("5 NTU", "warm", "nan", "inf", "-1e29", "1e29", ","):
        assert main(["calc", record.name, f"{first.name}={text}"]) == 2
        told = capsys.readouterr()
        assert told.out == ""
        assert f"{record.name}: {first.name}" in told.err
        assert first.range_text in told.err or "takes one number" in told.err
    for words in ([], [f"{first.name}_=1"]):
        assert main(["calc", record.name, *words]) == 2
        told = capsys.readouterr()
        assert first.name in told.err
        assert first.range_text in told.err


def test_what_may_be_left_out_is_listed_with_what_is_taken_then(capsys: Captured) -> None:
    """The default stands in the list, in its unit."""
    assert main(["calc", "tank_evaporation", "--list"]) == 0
    assert "speed of the air over the water  (left out: 0.1 m/s)" in capsys.readouterr().out


def test_lists_are_written_with_commas(capsys: Captured) -> None:
    """Hours of a series below a limit."""
    assert main(["calc", "hours_below", "temperatures=1,2,3,9", "limit=3"]) == 0
    assert "hours_below = 2 h" in capsys.readouterr().out


def test_the_list_names_every_quantity_with_its_arguments_units_and_ranges(capsys: Captured) -> None:
    """One JSON object each, with what may stand in for an argument."""
    assert main(["calc", "--list", "--json"]) == 0
    listed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["name"] for one in listed] == list(DERIVED)
    temperature, pressure, _ = next(one for one in listed if one["name"] == "oxygen_saturation")["arguments"]
    assert {key: temperature[key] for key in ("name", "unit", "low", "high", "required")} == {
        "name": "temperature",
        "unit": "degC",
        "low": 0,
        "high": 40,
        "required": True,
    }
    assert (pressure["default"], pressure["instead"]["name"]) == (101.325, "altitude")


def test_the_list_for_people_says_the_same(capsys: Captured) -> None:
    """Of one quantity or of all; what may be left out is marked."""
    assert main(["calc", "vapour_pressure_deficit", "--list"]) == 0
    one = capsys.readouterr().out
    assert main(["calc", "--list"]) == 0
    assert one in capsys.readouterr().out
    assert "temperature" in one


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "shows them all"),
        (["oxygen_saturaton"], "did you mean oxygen_saturation"),
        (["oxygen_saturation"], "needs temperature"),
        (["oxygen_saturation", "temprature=20"], "did you mean temperature"),
        (["oxygen_saturation", "temperature"], "'temperature' is no KEY=VALUE"),
        (["oxygen_saturation", "temperature="], "is no KEY=VALUE"),
        (["oxygen_saturation", "temperature=20", "temperature=21"], "stands twice"),
        (["oxygen_saturation", "temperature=warm"], "not a number"),
        (["oxygen_saturation", "temperature=41"], "0 to 40 degC"),
        (["oxygen_saturation", "temperature=20 L"], "give 0 to 40 degC"),
        (["oxygen_saturation", "temperature=nan"], "give 0 to 40 degC"),
        (["oxygen_saturation", f"temperature={'9' * 100_000}"], "text of 100000 characters is no number"),
        (["oxygen_saturation", "temperature=20", "pressure=100", "altitude=5"], "not both"),
    ],
)
def test_what_cannot_be_worked_out_ends_in_2_with_the_mend(words: list[str], told: str, capsys: Captured) -> None:
    """What, where and how to put it right, on standard error."""
    assert main(["calc", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert told in captured.err
