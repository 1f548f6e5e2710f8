"""Does `calculate` understand what a person types, and say plainly what it refuses?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import pytest

from rules.derived.calc import Given, calculate
from rules.derived.errors import (
    Contradiction,
    DerivedError,
    MissingArgument,
    NotANumber,
    OutOfRange,
    UnknownArgument,
    UnknownQuantity,
    WrongUnit,
)
from rules.errors import TidebedError


@pytest.mark.parametrize("temperature", ["20", "20 degC", "20degC", "68 degF", "68degF", "293.15 K", "2e1", " 20 "])
def test_a_temperature_may_be_written_in_many_ways(temperature: str) -> None:
    """Text with or without a unit, with or without a space, means the same temperature."""
    found = calculate("oxygen_saturation", {"temperature": temperature})
    assert found.value == calculate("oxygen_saturation", {"temperature": 20}).value
    assert found.arguments[0].value == 20.0


@pytest.mark.parametrize("temperature", [20, 20.0, Decimal("20"), Fraction(20)])
def test_a_number_is_in_the_arguments_unit(temperature: Given) -> None:
    """Any kind of number is taken as degC where the argument is in degC."""
    assert calculate("saturation_vapour_pressure", {"temperature": temperature}).arguments[0].value == 20.0


def test_a_difference_converts_by_its_scale_alone() -> None:
    """9 degF of difference is 5 K, while 9 degF of temperature would be -12.8 degC."""
    kelvin = calculate("air_stream_heat", {"flow": 1, "difference": 5})
    fahrenheit = calculate("air_stream_heat", {"flow": 1, "difference": "9 degF"})
    assert fahrenheit.value == kelvin.value


def test_a_slope_may_carry_a_unit_per_time() -> None:
    """-2.52 degF/h and -1.4 K/h are both -1.4 degC/h."""
    own = calculate("frost_runway", {"temperature": 6, "slope": "-1.4"})
    assert calculate("frost_runway", {"temperature": 6, "slope": "-2.52 degF/h"}).value == pytest.approx(own.value)
    assert calculate("frost_runway", {"temperature": 6, "slope": "-1.4 K/h"}).value == own.value


@pytest.mark.parametrize("listed", ["34degF,36degF, 48 degF", ["34 degF", "36 degF", "48 degF"]])
def test_a_list_is_text_with_commas_or_a_sequence(listed: Given) -> None:
    """1.1, 2.2 and 8.9 degC bring 0, half and one chill unit, however the list is given."""
    assert calculate("utah_chill", {"temperatures": listed}).value == 1.5
    assert calculate("utah_chill", {"temperatures": [1.1, Decimal("2.2"), 8.9]}).value == 1.5


@pytest.mark.parametrize("single", ["3", 3, 3.0])
def test_one_number_is_a_list_of_one(single: Given) -> None:
    """A list argument takes a single number."""
    assert calculate("utah_chill", {"temperatures": single}).arguments[0].value == (3.0,)


def test_an_altitude_stands_in_for_a_pressure_and_is_named_as_its_origin() -> None:
    """The pressure used is the standard atmosphere's, and the result says where it came from."""
    found = calculate("oxygen_saturation", {"temperature": 20, "altitude": "1200 m"})
    pressure = calculate("pressure_at_altitude", {"altitude": 1200}).value
    used = {argument.name: argument for argument in found.arguments}
    assert used["pressure"].value == pressure
    assert used["pressure"].origin == "altitude 1200 m"
    assert found.value == calculate("oxygen_saturation", {"temperature": 20, "pressure": pressure}).value


def test_the_result_tells_all_that_went_into_it() -> None:
    """Name, value, unit, arguments with their origin, equation, source and valid range, fit for JSON."""
    found = calculate("oxygen_saturation", {"temperature": "68 degF"}).as_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert list(found) == ["name", "value", "unit", "arguments", "equation", "source", "valid_range"]
    assert found["name"] == "oxygen_saturation"
    assert found["unit"] == "mg/L"
    assert found["arguments"] == {
        "temperature": {"value": 20.0, "unit": "degC", "origin": "given"},
        "pressure": {"value": 101.325, "unit": "kPa", "origin": "default"},
        "salinity": {"value": 0.0, "unit": "g/kg", "origin": "default"},
    }
    assert "Benson & Krause" in str(found["source"])
    assert "temperature 0 to 40 degC; pressure 50.6625 to 111.4575 kPa (or altitude -500 to 10000 m)" in str(
        found["valid_range"]
    )


def test_a_list_goes_into_the_result_as_a_list() -> None:
    """The temperatures of a chill sum are there to read, as JSON has them."""
    arguments = calculate("utah_chill", {"temperatures": "1,2"}).as_dict()["arguments"]
    assert arguments == {"temperatures": {"value": [1.0, 2.0], "unit": "degC", "origin": "given"}}


def test_an_optional_argument_that_is_left_out_is_not_in_the_result() -> None:
    """Degree days without a cutoff list none, and an infinite one never reaches JSON."""
    found = calculate("degree_days", {"maximum": 25, "minimum": 15, "base": 10}).as_dict()
    assert found["arguments"] == {
        "maximum": {"value": 25.0, "unit": "degC", "origin": "given"},
        "minimum": {"value": 15.0, "unit": "degC", "origin": "given"},
        "base": {"value": 10.0, "unit": "degC", "origin": "given"},
        "method": {"value": 1.0, "unit": "1", "origin": "default"},
    }


REFUSALS: list[tuple[str, Mapping[str, Given], type[DerivedError], str]] = [
    ("oxygen_sat", {}, UnknownQuantity, "derived quantity 'oxygen_sat' is not known; did you mean oxygen_saturation"),
    ("zzz", {}, UnknownQuantity, "derived quantity 'zzz' is not known; known: absolute_humidity, "),
    (
        "oxygen_saturation",
        {"temperture": 20},
        UnknownArgument,
        "(or conductance 0 to 58000 uS/cm); did you mean temperature",
    ),
    (
        "ammonia_fraction",
        {"xyz": 1},
        UnknownArgument,
        "ammonia_fraction has no argument 'xyz'; it takes temperature 0 to 50 degC; ph 6 to 10 pH",
    ),
    (
        "ammonia_fraction",
        {"temperature": 20},
        MissingArgument,
        "ammonia_fraction needs ph (pH of the water, 6 to 10 pH); give ph=VALUE",
    ),
    (
        "oxygen_saturation",
        {"temperature": "20 mg/L"},
        WrongUnit,
        "oxygen_saturation: temperature is in degC, and 'mg/L' does not fit: mg/L measures concentration",
    ),
    (
        "oxygen_saturation",
        {"temperature": "20 degX"},
        WrongUnit,
        "unit 'degX' is not known; did you mean deg or degF or degC?; give 0 to 40 degC",
    ),
    (
        "oxygen_slope_runway",
        {"oxygen": 5, "limit": 3, "fall": "1 mg/L/furlong"},
        WrongUnit,
        "fall is in mg/L/h, and 'mg/L/furlong' does not fit",
    ),
    (
        "utah_chill",
        {"temperatures": "34, 36, 48 degF"},
        WrongUnit,
        "some numbers of temperatures carry a unit and some do not; give it to every number, or to none for degC",
    ),
    (
        "oxygen_saturation",
        {"temperature": "warm"},
        NotANumber,
        "oxygen_saturation: temperature: 'warm' is not a number; give 0 to 40 degC as a number in degC, or with a unit "
        'of its own as in temperature="0 degC"',
    ),
    (
        "oxygen_saturation",
        {"temperature": "0." + "1" * 99},
        NotANumber,
        "temperature: text of 101 characters is no number; give 0 to 40 degC",
    ),
    ("oxygen_saturation", {"temperature": ""}, NotANumber, "temperature: '' is not a number"),
    ("oxygen_saturation", {"temperature": "nan"}, NotANumber, "temperature: 'nan' is not a number"),
    ("oxygen_saturation", {"temperature": float("inf")}, NotANumber, "temperature: inf is not a finite number"),
    ("oxygen_saturation", {"temperature": "1e-70"}, NotANumber, "temperature: '1e-70' is out of any range"),
    ("oxygen_saturation", {"temperature": "20,21"}, NotANumber, "temperature takes one number, not the list '20,21'"),
    ("oxygen_saturation", {"temperature": [20, 21]}, NotANumber, "temperature takes one number, not the list [20, 21]"),
    ("utah_chill", {"temperatures": []}, NotANumber, "temperatures is an empty list; give at least one number"),
    ("utah_chill", {"temperatures": "1,,2"}, NotANumber, "temperatures: '' is not a number"),
    (
        "oxygen_saturation",
        {"temperature": "120 degF"},
        OutOfRange,
        "oxygen_saturation: temperature is 120 degF (48.8889 degC); the formula holds for 0 to 40 degC",
    ),
    (
        "oxygen_saturation",
        {"temperature": 20, "altitude": 9000},
        OutOfRange,
        "pressure is 30.7423 kPa at altitude 9000 m; the formula holds for 50.6625 to 111.4575 kPa",
    ),
    (
        "oxygen_saturation",
        {"temperature": 20, "altitude": 20000},
        OutOfRange,
        "altitude is 20000 m; the formula holds for -500 to 10000 m",
    ),
    (
        "degree_days",
        {"maximum": 20, "minimum": 10, "base": 5, "method": 3},
        OutOfRange,
        "method is 3; the formula holds for 1 or 2",
    ),
    (
        "vapour_pressure_deficit",
        {"temperature": 20, "humidity": 101},
        OutOfRange,
        "humidity is 101 %; the formula holds",
    ),
    ("frost_runway", {"temperature": 5, "slope": 0.5}, OutOfRange, "slope is 0.5 degC/h; the formula holds for -60 to"),
    (
        "oxygen_saturation",
        {"temperature": 20, "pressure": 100, "altitude": 0},
        Contradiction,
        "oxygen_saturation: give pressure or altitude, not both",
    ),
    (
        "bed_drain_time",
        {"area": 1, "depth": 0.25, "porosity": 0.4, "inflow": 8, "siphon_flow": 8},
        Contradiction,
        "bed_drain_time needs siphon_flow above inflow, else the bed never empties; given were area=1 m2, "
        "depth=0.25 m, porosity=0.4, inflow=8 L/min, siphon_flow=8 L/min",
    ),
    (
        "degree_days",
        {"maximum": 10, "minimum": 20, "base": 5},
        Contradiction,
        "degree_days needs maximum at or above minimum",
    ),
    (
        "degree_days",
        {"maximum": 20, "minimum": 10, "base": 5, "cutoff": 5},
        Contradiction,
        "degree_days needs cutoff above base",
    ),
    (
        "psychrometer_humidity",
        {"temperature": 20, "wet_bulb": 21},
        Contradiction,
        "psychrometer_humidity needs wet_bulb at or below temperature",
    ),
    (
        "psychrometer_humidity",
        {"temperature": 25, "wet_bulb": 0},
        Contradiction,
        "psychrometer_humidity needs a wet_bulb that wetting can reach",
    ),
    (
        "psychrometer_vapour_pressure",
        {"temperature": 25, "wet_bulb": 0},
        Contradiction,
        "psychrometer_vapour_pressure needs a wet_bulb that wetting can reach",
    ),
    (
        "psychrometer_vapour_pressure",
        {"temperature": 20, "wet_bulb": 21},
        Contradiction,
        "psychrometer_vapour_pressure needs wet_bulb at or below temperature",
    ),
    (
        "daily_vapour_pressure_deficit",
        {"maximum": 20, "minimum": 10, "humidity_maximum": 40, "humidity_minimum": 50},
        Contradiction,
        "needs humidity_maximum at or above humidity_minimum",
    ),
    (
        "daily_vapour_pressure_deficit",
        {"maximum": 10, "minimum": 20, "humidity_maximum": 60, "humidity_minimum": 50},
        Contradiction,
        "needs maximum at or above minimum",
    ),
]


@pytest.mark.parametrize(("name", "given", "error", "text"), REFUSALS)
def test_what_is_refused_says_what_where_and_how_to_mend_it(
    name: str, given: Mapping[str, Given], error: type[DerivedError], text: str
) -> None:
    """Each refusal has its own class in one family and a message that names quantity, argument and mend."""
    with pytest.raises(error) as caught:
        calculate(name, given)
    assert text in str(caught.value)
    assert isinstance(caught.value, DerivedError)
    assert isinstance(caught.value, ValueError)
    assert isinstance(caught.value, TidebedError)


@pytest.mark.parametrize(
    ("temperature", "fits"), [("-0.001", False), ("0", True), ("0.001", True), ("40", True), ("40.001", False)]
)
def test_both_ends_of_a_range_belong_to_it(temperature: str, fits: bool) -> None:
    """0 and 40 degC are inside the range of oxygen saturation and a thousandth beyond is outside."""
    if fits:
        assert calculate("oxygen_saturation", {"temperature": temperature}).value > 0
    else:
        with pytest.raises(OutOfRange, match="temperature"):
            calculate("oxygen_saturation", {"temperature": temperature})


@pytest.mark.parametrize(
    ("pressure", "fits"), [("0.5 atm", True), ("0.4999 atm", False), ("1.1 atm", True), ("836 mmHg", True)]
)
def test_a_range_end_in_another_unit_is_met_exactly(pressure: str, fits: bool) -> None:
    """Half an atmosphere is the low end, also when it is written in another unit: conversion is exact."""
    if fits:
        assert calculate("oxygen_saturation", {"temperature": 20, "pressure": pressure}).value > 0
    else:
        with pytest.raises(OutOfRange, match=r"pressure is 0\.4999 atm \(50\.6524 kPa\)"):
            calculate("oxygen_saturation", {"temperature": 20, "pressure": pressure})
