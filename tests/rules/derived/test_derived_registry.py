"""Is every derived quantity on the list complete and true to its formula?"""

from __future__ import annotations

import inspect
import itertools
import subprocess
import sys

import numpy as np
import pytest

from rules.derived.record import Derived
from rules.derived.registry import _RECORDS, DERIVED, derived
from rules.quantities import quantity
from rules.units import UNITS, parse_rate_unit, parse_unit

CONTRACT = {
    "oxygen_saturation": ("temperature pressure salinity", "mg/L"),
    "percent_saturation": ("oxygen temperature pressure salinity", "%"),
    "ammonia_fraction": ("temperature ph", "1"),
    "unionised_ammonia": ("total_ammonia temperature ph", "mg/L"),
    "saturation_vapour_pressure": ("temperature", "kPa"),
    "vapour_pressure_deficit": ("temperature humidity", "kPa"),
    "dew_point": ("temperature humidity", "degC"),
    "wet_bulb": ("temperature humidity pressure", "degC"),
    "humidity_ratio": ("temperature humidity pressure", "g/kg"),
    "absolute_humidity": ("temperature humidity pressure", "g/m3"),
    "enthalpy": ("temperature humidity pressure", "kJ/kg"),
    "specific_volume": ("temperature humidity pressure", "m3/kg"),
    "pressure_at_altitude": ("altitude", "kPa"),
    "utah_chill": ("temperatures", "units"),
    "chill_hours": ("temperatures low high", "h"),
    "degree_days": ("maximum minimum base method cutoff", "degC d"),
    "light_integral": ("ppfd hours", "mol/m2/d"),
    "air_stream_heat": ("flow difference density heat_capacity", "kW"),
    "air_changes": ("volume flow", "1/h"),
    "turnover": ("volume flow", "1/h"),
    "flushed_fraction": ("volume flow time", "1"),
    "bed_fill_time": ("area depth porosity inflow", "min"),
    "bed_drain_time": ("area depth porosity inflow siphon_flow", "min"),
    "oxygen_runway": ("volume biomass respiration oxygen limit", "h"),
    "feed_rate": ("area ratio", "g/d"),
}

every_quantity = pytest.mark.parametrize("record", DERIVED.values(), ids=DERIVED.keys())


@pytest.mark.parametrize(("name", "arguments", "unit"), [(name, *rest) for name, rest in CONTRACT.items()])
def test_names_arguments_and_units_that_others_rely_on(name: str, arguments: str, unit: str) -> None:
    """The published names, argument names and result units stand."""
    record = derived(name)
    assert " ".join(argument.name for argument in record.arguments) == arguments
    assert record.unit == unit


def test_every_name_is_given_once() -> None:
    """No quantity hides another of the same name."""
    assert len(_RECORDS) == len(DERIVED)


@every_quantity
def test_a_record_says_what_a_reader_needs(record: Derived) -> None:
    """Meaning, equation, source, unit and the meaning of every argument are there."""
    assert record.meaning
    assert record.equation
    assert record.source
    assert record.unit
    assert record.arguments
    for argument in record.arguments:
        assert argument.meaning
        assert argument.low < argument.high
        assert argument.range_text in record.valid_range
    assert len(set(record.argument_names)) == len(record.argument_names)


@every_quantity
def test_a_record_has_the_arguments_and_defaults_of_its_formula(record: Derived) -> None:
    """Names, their order and defaults are those of the function, so that text and code cannot drift apart."""
    parameters = inspect.signature(record.function).parameters
    assert tuple(parameters) == tuple(argument.name for argument in record.arguments)
    for argument in record.arguments:
        own = parameters[argument.name].default
        if argument.required:
            assert own is inspect.Parameter.empty
        elif argument.optional:
            assert own is not inspect.Parameter.empty
        else:
            assert own == argument.default
            assert argument.contains(own)


@every_quantity
def test_a_formula_states_equation_units_and_source(record: Derived) -> None:
    """The docstring gives a unit in brackets for the result in its first line and for its arguments below."""
    doc = inspect.getdoc(record.function)
    assert doc is not None
    assert f"[{record.unit}]" in doc.splitlines()[0]


@every_quantity
def test_every_unit_of_an_argument_is_understood(record: Derived) -> None:
    """What the argument is in can be typed; units per time are the ones outside the plain table."""
    for argument in record.arguments:
        for symbol in [argument.unit] + ([argument.instead.unit] if argument.instead else []):
            unit = parse_unit(symbol) if symbol in UNITS else parse_rate_unit(symbol)
            assert unit.scale > 0


@every_quantity
def test_the_result_fits_the_quantity_that_a_point_of_it_measures(record: Derived) -> None:
    """Where a derived point can be made, its quantity accepts the unit of the result."""
    if record.result_quantity is not None:
        assert quantity(record.result_quantity).accepts(record.unit).dimension


@every_quantity
def test_inside_its_range_every_formula_gives_a_number(record: Derived) -> None:
    """At every corner and in the middle of the range the result is finite, wherever the requirements hold."""
    if record.takes_lists:
        for edge in ("low", "high"):
            values = {
                argument.name: np.array([getattr(argument, edge)] * 3) if argument.is_list else getattr(argument, edge)
                for argument in record.arguments
            }
            assert np.isfinite(record.function(**values))
        return
    corners = [
        argument.choices or (argument.low, (argument.low + argument.high) / 2.0, argument.high)
        for argument in record.arguments
    ]
    columns = dict(
        zip(
            (argument.name for argument in record.arguments),
            np.array(list(itertools.product(*corners)), dtype=np.float64).T,
            strict=True,
        )
    )
    _, valid = record.evaluate(columns)
    together = np.ones(valid.shape, dtype=np.bool_)
    for requirement in record.requirements:
        together &= requirement.holds(columns)
    np.testing.assert_array_equal(valid, together)
    assert valid.any()


def test_importing_the_formulas_is_cheap() -> None:
    """Neither the psychrometric library nor anything heavy is loaded until a psychrometric quantity is asked for."""
    code = (
        "import sys; import rules.derived.calc as c; "
        "heavy = {'psychrolib', 'scipy', 'pandas', 'matplotlib', 'pydantic'} & set(sys.modules); "
        "c.calculate('oxygen_saturation', {'temperature': 20}); "
        "heavy |= {'psychrolib'} & set(sys.modules); "
        "import rules.derived.moist_air as m; "
        "print(sorted(heavy), m.psychrolib.cache_info().currsize)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["[]", "0"]
