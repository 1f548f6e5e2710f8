"""Are columns of readings worked out as single numbers are, and is nothing outside the range passed on?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.derived.calc import calculate
from rules.derived.errors import Contradiction, DerivedError, MissingArgument, UnknownArgument
from rules.derived.record import Argument, Derived, FloatOrArray
from rules.derived.registry import DERIVED, derived

ELEMENTWISE = [record for record in DERIVED.values() if not record.takes_lists]


def _inside(argument: Argument) -> st.SearchStrategy[float]:
    if argument.choices:
        return st.sampled_from(argument.choices)
    # Steps of a thousandth of the range: numbers as probes send them, both ends included.
    return st.integers(0, 1000).map(lambda step: (argument.low * (1000 - step) + argument.high * step) / 1000.0)


@given(data=st.data())
@settings(max_examples=300, deadline=None)  # the first psychrometric example loads the library
def test_a_column_gives_what_each_of_its_readings_gives_alone(data: st.DataObject) -> None:
    """For every quantity and readings inside its range, `evaluate` and `calculate` agree but for rounding."""
    record: Derived = data.draw(st.sampled_from(ELEMENTWISE))
    rows = data.draw(st.lists(st.tuples(*(_inside(argument) for argument in record.arguments)), min_size=1, max_size=4))
    names = [argument.name for argument in record.arguments]
    columns = dict(zip(names, np.array(rows, dtype=np.float64).T, strict=True))
    values, valid = record.evaluate(columns)
    assert values.shape == valid.shape == (len(rows),)
    for row, value, fits in zip(rows, values, valid, strict=True):
        try:
            alone = calculate(record.name, dict(zip(names, row, strict=True))).value
        except (Contradiction, ValueError):
            assert not fits
            assert np.isnan(value)
        else:
            assert fits
            # Powers of an array and of a single float may differ in the last bit, and the sums magnify that.
            assert value == pytest.approx(alone, rel=1e-11, abs=1e-11)


@given(data=st.data())
@settings(max_examples=100, deadline=None)  # the first psychrometric example loads the library
def test_where_a_column_is_cut_never_matters(data: st.DataObject) -> None:
    """To the last bit, a column worked out whole is the column worked out in two blocks: live equals replay."""
    record: Derived = data.draw(st.sampled_from(ELEMENTWISE))
    seed = data.draw(st.integers(0, 2**32 - 1))
    length = data.draw(st.integers(2, 70))
    cut = data.draw(st.integers(1, length - 1))
    random = np.random.default_rng(seed)
    columns = {
        argument.name: random.choice(argument.choices, length)
        if argument.choices
        else random.uniform(argument.low - 0.01, argument.high + 0.01, length)
        for argument in record.arguments
    }
    values, valid = record.evaluate(columns)
    before, before_valid = record.evaluate({name: column[:cut] for name, column in columns.items()})
    after, after_valid = record.evaluate({name: column[cut:] for name, column in columns.items()})
    np.testing.assert_array_equal(values, np.concatenate([before, after]))
    np.testing.assert_array_equal(valid, np.concatenate([before_valid, after_valid]))


@pytest.mark.parametrize(
    ("temperature", "fits"),
    [(-0.001, False), (0.0, True), (40.0, True), (40.001, False), (float("nan"), False), (float("inf"), False)],
)
def test_a_reading_outside_the_range_is_not_valid(temperature: float, fits: bool) -> None:
    """Both ends belong to the range; beyond them, and for no number, valid is False and the value NaN."""
    values, valid = derived("oxygen_saturation").evaluate({"temperature": np.array([20.0, temperature])})
    np.testing.assert_array_equal(valid, [True, fits])
    np.testing.assert_array_equal(np.isfinite(values), valid)


def test_one_bad_argument_makes_a_row_not_valid() -> None:
    """Each argument is judged, whichever it is."""
    _, valid = derived("ammonia_fraction").evaluate(
        {"temperature": np.array([20.0, 51.0, 20.0, 51.0]), "ph": np.array([7.0, 7.0, 5.9, 5.9])}
    )
    np.testing.assert_array_equal(valid, [True, False, False, False])


def test_a_requirement_is_judged_row_by_row() -> None:
    """A bed whose siphon carries no more than its inflow has no drain time; its neighbours in the column do."""
    values, valid = derived("bed_drain_time").evaluate(
        {"area": 1.0, "depth": 0.25, "porosity": 0.4, "inflow": 8.0, "siphon_flow": np.array([25.0, 8.0, 7.0])}
    )
    np.testing.assert_array_equal(valid, [True, False, False])
    assert values[0] == pytest.approx(100.0 / 17.0)


@pytest.mark.parametrize(
    ("humidity", "fits"), [(99.9, True), (100.0, True), (100.1, True), (105.0, True), (105.1, False), (-0.1, False)]
)
def test_a_humidity_probe_a_little_over_100_counts_as_saturated(humidity: float, fits: bool) -> None:
    """Live readings from 100 to 105 % are read as 100 %: on a dripping night the deficit is 0 and not unknown."""
    values, valid = derived("vapour_pressure_deficit").evaluate(
        {"temperature": np.array([15.0]), "humidity": np.array([humidity])}
    )
    assert valid[0] == fits
    if fits and humidity >= 100.0:
        assert values[0] == 0.0


def test_defaults_and_single_numbers_go_with_columns() -> None:
    """An argument may be one number for all readings, or left to its default."""
    temperature = np.array([10.0, 20.0])
    alone, _ = derived("oxygen_saturation").evaluate({"temperature": temperature})
    spelled, _ = derived("oxygen_saturation").evaluate(
        {"temperature": temperature, "pressure": 101.325, "salinity": np.zeros(2)}
    )
    np.testing.assert_array_equal(alone, spelled)


def test_single_numbers_alone_give_a_single_value() -> None:
    """Without a column the result has no dimension."""
    values, valid = derived("oxygen_saturation").evaluate({"temperature": 20.0})
    assert values.shape == valid.shape == ()
    assert float(values) == pytest.approx(9.0924, abs=0.0001)


def test_an_altitude_stands_in_for_the_pressure_of_a_column() -> None:
    """A site's altitude does for all readings; one beyond the atmosphere's or the formula's range is not valid."""
    record = derived("oxygen_saturation")
    values, valid = record.evaluate({"temperature": np.array([20.0, 20.0]), "altitude": 1200.0})
    pressure = calculate("pressure_at_altitude", {"altitude": 1200}).value
    expected, _ = record.evaluate({"temperature": np.array([20.0, 20.0]), "pressure": pressure})
    np.testing.assert_array_equal(values, expected)
    assert valid.all()
    _, valid = record.evaluate({"temperature": 20.0, "altitude": np.array([0.0, 9000.0, 50000.0, np.nan])})
    np.testing.assert_array_equal(valid, [True, False, False, False])


def test_a_column_with_no_valid_reading_is_all_nan() -> None:
    """Nothing is computed when nothing is valid, and nothing warns."""
    values, valid = derived("wet_bulb").evaluate({"temperature": np.array([99.0, np.nan]), "humidity": 50.0})
    assert not valid.any()
    assert np.isnan(values).all()


def test_an_empty_column_gives_an_empty_column() -> None:
    """A block without readings is no error."""
    values, valid = derived("dew_point").evaluate({"temperature": np.array([]), "humidity": np.array([])})
    assert values.shape == valid.shape == (0,)


def test_the_columns_given_are_not_changed() -> None:
    """A reading over 100 % is read as 100 % in the result alone."""
    humidity = np.array([103.0])
    derived("dew_point").evaluate({"temperature": np.array([15.0]), "humidity": humidity})
    assert humidity[0] == 103.0


def test_what_does_not_go_together_is_refused_by_name() -> None:
    """Unknown and missing names, a stand-in beside its argument, uneven columns and lists each have their message."""
    refusals: list[tuple[str, dict[str, FloatOrArray], type[DerivedError], str]] = [
        (
            "dew_point",
            {"temp": 20.0},
            UnknownArgument,
            r"dew_point has no argument 'temp'; it takes .*; did you mean temperature\?",
        ),
        (
            "dew_point",
            {"temperature": 20.0},
            MissingArgument,
            r"dew_point needs humidity \(relative humidity, 1 to 100 %\)",
        ),
        (
            "oxygen_saturation",
            {"temperature": 20.0, "salinity": 0.0, "conductance": 500.0},
            Contradiction,
            "give salinity or conductance, not both",
        ),
        (
            "dew_point",
            {"temperature": np.zeros(2), "humidity": np.ones(3)},
            DerivedError,
            r"columns of different lengths do not go together: temperature \(2,\), humidity \(3,\)",
        ),
        (
            "utah_chill",
            {"temperatures": np.zeros(3)},
            DerivedError,
            "utah_chill sums up a list and has no value reading",
        ),
    ]
    for name, columns, error, text in refusals:
        with pytest.raises(error, match=text):
            derived(name).evaluate(columns)


def test_a_formula_that_yields_no_number_is_not_valid() -> None:
    """Should a formula give an infinite result inside its range, the reading is marked and not passed on."""
    broken = Derived(
        name="broken",
        meaning="a formula with a hole in its range",
        function=lambda x: np.where(np.equal(x, 0.0), np.inf, x),
        arguments=(Argument("x", "1", -1.0, 1.0, "anything"),),
        unit="1",
        equation="x",
        source="made up for this test",
    )
    values, valid = broken.evaluate({"x": np.array([-1.0, 0.0, 1.0])})
    np.testing.assert_array_equal(valid, [True, False, True])
    assert np.isnan(values[1])
