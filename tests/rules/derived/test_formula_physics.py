"""Do the formulas obey the physics: direction, bounds and limits?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules.derived import air_streams, ammonia, fish, light, moist_air, runway, soil, vapour, water_loop, weir
from rules.derived.chill import chill_hours, utah_chill, utah_units
from rules.derived.degree_days import degree_days
from rules.derived.evaporation import tank_evaporation
from rules.derived.hours import hours_above, hours_below, leaf_wetness_hours
from rules.derived.nitrification import alkalinity_runway
from rules.derived.oxygen import oxygen_saturation
from rules.derived.pressure import pressure_at_altitude
from rules.derived.record import FloatOrArray
from rules.derived.registry import DERIVED, derived
from rules.derived.salinity import conductivity_at_25, salinity_from_conductance

air = {
    "temperature": st.floats(-30.0, 60.0),
    "humidity": st.floats(1.0, 100.0),
}
water = st.floats(0.0, 40.0)

# name, argument, +1 rises or -1 falls with it; everywhere inside the range unless another argument forbids it.
DIRECTIONS = [
    ("oxygen_saturation", "temperature", -1),
    ("oxygen_saturation", "pressure", 1),
    ("oxygen_saturation", "salinity", -1),
    ("percent_saturation", "oxygen", 1),
    ("percent_saturation", "temperature", 1),
    ("ammonia_fraction", "temperature", 1),
    ("ammonia_fraction", "ph", 1),
    ("unionised_ammonia", "total_ammonia", 1),
    ("salinity_from_conductance", "conductance", 1),
    ("conductivity_at_25", "temperature", -1),
    ("saturation_vapour_pressure", "temperature", 1),
    ("vapour_pressure_slope", "temperature", 1),
    ("vapour_pressure_deficit", "temperature", 1),
    ("vapour_pressure_deficit", "humidity", -1),
    ("dew_point", "temperature", 1),
    ("dew_point", "humidity", 1),
    ("wet_bulb", "humidity", 1),
    ("humidity_ratio", "humidity", 1),
    ("humidity_ratio", "pressure", -1),
    ("enthalpy", "humidity", 1),
    ("enthalpy", "temperature", 1),
    ("specific_volume", "temperature", 1),
    ("specific_volume", "pressure", -1),
    ("moist_air_density", "humidity", -1),
    ("absolute_humidity", "humidity", 1),
    ("pressure_at_altitude", "altitude", -1),
    ("oxygen_runway", "oxygen", 1),
    ("oxygen_runway", "biomass", -1),
    ("oxygen_runway", "respiration", -1),
    ("flushed_fraction", "time", 1),
    ("bed_fill_time", "inflow", -1),
    ("bed_drain_time", "inflow", 1),
    ("bed_drain_time", "siphon_flow", -1),
    ("v_notch_flow", "level", 1),
    ("v_notch_flow", "angle", 1),
    ("tank_evaporation", "water_temperature", 1),
    ("tank_evaporation", "humidity", -1),
    ("soil_water_content", "permittivity", 1),
    ("greenhouse_temperature_rise", "flow", -1),
    ("greenhouse_temperature_rise", "evaporated", -1),
    ("light_integral", "hours", 1),
    ("frost_runway", "temperature", 1),
    ("heat_runway", "temperature", -1),
    ("alkalinity_runway", "feed", -1),
]


@pytest.mark.parametrize(("name", "moved", "direction"), DIRECTIONS)
@given(data=st.data())
@settings(max_examples=40, deadline=None)  # the first psychrometric example loads the library
def test_a_quantity_moves_the_way_physics_says(name: str, moved: str, direction: int, data: st.DataObject) -> None:
    """All else equal, more of the argument never gives less (or never more) of the quantity."""
    record = derived(name)
    values: dict[str, float] = {}
    for argument in record.arguments:
        if argument.choices:
            values[argument.name] = data.draw(st.sampled_from(argument.choices), argument.name)
        else:
            values[argument.name] = data.draw(st.floats(argument.low, argument.high), argument.name)
    target = next(argument for argument in record.arguments if argument.name == moved)
    other = data.draw(st.floats(target.low, target.high), f"other {moved}")
    low, high = sorted((values[moved], other))
    results, valid = record.evaluate({**values, moved: np.array([low, high])})
    assume(valid.all())
    # The wet bulb is solved to 0.001 K; elsewhere only rounding may go the other way.
    slack = 0.002 if name == "wet_bulb" else 1e-9 * (1.0 + abs(results).max())
    assert direction * (results[1] - results[0]) >= -slack


# --- air


@given(**air)
def test_dew_point_undoes_the_vapour_pressure(temperature: float, humidity: float) -> None:
    """Air cooled to its dew point is saturated: e(Tdew) is the vapour pressure."""
    dew = vapour.dew_point(temperature, humidity)
    assert vapour.saturation_vapour_pressure(dew) == pytest.approx(
        float(vapour.vapour_pressure(temperature, humidity)), rel=1e-9
    )
    assert dew <= temperature + 1e-9
    assert vapour.dew_point_depression(temperature, humidity) == pytest.approx(temperature - float(dew), abs=1e-9)


@given(temperature=st.floats(-30.0, 60.0))
def test_saturated_air_has_no_deficit_and_dry_air_all_of_it(temperature: float) -> None:
    """The deficit runs from 0 at 100 % to the saturation pressure at 0 %, and vapour makes up the rest."""
    full = vapour.saturation_vapour_pressure(temperature)
    assert vapour.vapour_pressure_deficit(temperature, 100.0) == 0.0
    assert vapour.vapour_pressure_deficit(temperature, 0.0) == full
    assert vapour.dew_point(temperature, 100.0) == pytest.approx(temperature, abs=1e-9)
    parts = vapour.vapour_pressure(temperature, 37.0) + vapour.vapour_pressure_deficit(temperature, 37.0)
    assert parts == pytest.approx(float(full), rel=1e-12)


@given(temperature=st.floats(-29.0, 59.0))
def test_the_slope_is_the_derivative_of_the_saturation_pressure(temperature: float) -> None:
    """Eq. 13 is eq. 11 differentiated, its constant 4098 rounded from 17.27 x 237.3."""
    step = 1e-4
    above = vapour.saturation_vapour_pressure(temperature + step)
    below = vapour.saturation_vapour_pressure(temperature - step)
    assert vapour.vapour_pressure_slope(temperature) == pytest.approx(float(above - below) / (2 * step), rel=1e-4)


@given(**air)
def test_a_leaf_at_air_temperature_has_the_deficit_of_the_air(temperature: float, humidity: float) -> None:
    """A leaf as warm as the air sees the air's deficit; one at the dew point sees none; a colder one gathers dew."""
    same = vapour.leaf_vapour_pressure_deficit(temperature, temperature, humidity)
    assert same == pytest.approx(float(vapour.vapour_pressure_deficit(temperature, humidity)), abs=1e-9)
    dew = vapour.dew_point(temperature, humidity)
    assert vapour.leaf_vapour_pressure_deficit(dew, temperature, humidity) == pytest.approx(0.0, abs=1e-9)
    assert vapour.leaf_vapour_pressure_deficit(dew - 1.0, temperature, humidity) < 0.0


@given(temperature=st.floats(0.0, 60.0), pressure=st.floats(50.0, 112.0))
def test_equal_thermometers_mean_saturated_air(temperature: float, pressure: float) -> None:
    """With the wet bulb as warm as the dry one the air is full of vapour."""
    found = vapour.psychrometer_vapour_pressure(temperature, temperature, pressure)
    assert found == pytest.approx(float(vapour.saturation_vapour_pressure(temperature)), rel=1e-12)
    assert moist_air.psychrometer_humidity(temperature, temperature, pressure) == pytest.approx(100.0, rel=1e-9)


@given(**air, pressure=st.floats(50.0, 112.0))
@settings(deadline=None)  # the first example loads the library
def test_the_wet_bulb_lies_between_dew_point_and_air(temperature: float, humidity: float, pressure: float) -> None:
    """Evaporation cools towards the dew point and never past it; in saturated air all three meet."""
    wet = float(moist_air.wet_bulb(temperature, humidity, pressure))
    dew = float(moist_air.psychrolib().GetTDewPointFromRelHum(temperature, humidity / 100.0))
    assert dew - 0.002 <= wet <= temperature + 0.002
    assert moist_air.wet_bulb(temperature, 100.0, pressure) == pytest.approx(temperature, abs=0.002)


@given(temperature=st.floats(1.0, 60.0), humidity=st.floats(5.0, 100.0), pressure=st.floats(50.0, 112.0))
@settings(deadline=None)  # the first example loads the library
def test_the_psychrometer_undoes_the_wet_bulb(temperature: float, humidity: float, pressure: float) -> None:
    """Above freezing the humidity that gave a wet bulb comes back from it, to what 0.001 K allows."""
    wet = moist_air.wet_bulb(temperature, humidity, pressure)
    assume(wet > 0.01)
    # The solver's wet bulb may lie 0.001 K above the air's temperature.
    found = moist_air.psychrometer_humidity(temperature, min(float(wet), temperature), pressure)
    assert found == pytest.approx(humidity, abs=0.1)


@given(temperature=st.floats(-30.0, 60.0), humidity=st.floats(1.0, 100.0), pressure=st.floats(50.0, 112.0))
@settings(deadline=None)  # the first example loads the library
def test_volume_density_and_absolute_humidity_hang_together(
    temperature: float, humidity: float, pressure: float
) -> None:
    """Density is (1 + W)/v, absolute humidity W/v, and that is e/(461.5 T) whatever the pressure."""
    ratio = float(moist_air.humidity_ratio(temperature, humidity, pressure)) / 1000.0
    volume = float(moist_air.specific_volume(temperature, humidity, pressure))
    assert moist_air.moist_air_density(temperature, humidity, pressure) == pytest.approx((1.0 + ratio) / volume)
    absolute = float(moist_air.absolute_humidity(temperature, humidity, pressure))
    assert absolute == pytest.approx(1000.0 * ratio / volume)
    pascal = moist_air.psychrolib().GetSatVapPres(temperature) * humidity / 100.0
    assert absolute == pytest.approx(1000.0 * pascal / (461.5 * (temperature + 273.15)), rel=1e-3)


def test_pressure_falls_ever_more_slowly_with_altitude() -> None:
    """The air thins out: each hundred metres take less than the hundred below."""
    pressure = np.asarray(pressure_at_altitude(np.arange(-500.0, 10001.0, 100.0)))
    assert (np.diff(pressure) < 0).all()
    assert (np.diff(pressure, 2) > 0).all()
    assert pressure_at_altitude(0.0) == 101.325


# --- water


@given(temperature=water, salinity=st.floats(0.0, 40.0))
def test_no_oxygen_dissolves_where_vapour_fills_the_bubble(temperature: float, salinity: float) -> None:
    """The equation goes to zero as the pressure falls to that of water vapour, and stays above zero in its range."""
    kelvin = temperature + 273.15
    vapour_atm = float(np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2))
    assert oxygen_saturation(temperature, vapour_atm * 101.325, salinity) == pytest.approx(0.0, abs=1e-9)
    assert oxygen_saturation(temperature, 50.6625, salinity) > 0.0


@given(temperature=st.floats(0.0, 50.0))
def test_half_the_ammonia_is_unionised_at_the_pka(temperature: float) -> None:
    """At pH = pKa both forms are equal; a pH lower by one leaves a tenth of the ratio; the share is between 0 and 1."""
    pka = float(ammonia.ammonia_pka(temperature))
    assert ammonia.ammonia_fraction(temperature, pka) == pytest.approx(0.5)
    assert ammonia.ammonia_fraction(temperature, pka - 1.0) == pytest.approx(1.0 / 11.0)
    assert 0.0 < ammonia.ammonia_fraction(temperature, 6.0) < ammonia.ammonia_fraction(temperature, 10.0) < 1.0


@given(total=st.floats(0.0, 1000.0), temperature=st.floats(0.0, 50.0), ph=st.floats(6.0, 10.0))
def test_unionised_ammonia_is_never_more_than_all_of_it(total: float, temperature: float, ph: float) -> None:
    """The part is not more than the whole, and as NH3 it weighs 17.0305/14.0067 times its nitrogen."""
    part = ammonia.unionised_ammonia(total, temperature, ph)
    assert 0.0 <= part <= total
    assert ammonia.unionised_ammonia_nh3(total, temperature, ph) == pytest.approx(float(part) * 1.21588, rel=1e-5)


@given(conductivity=st.floats(0.0, 100000.0))
def test_conductance_at_25_degc_is_the_conductivity_itself(conductivity: float) -> None:
    """At the reference temperature nothing is corrected, and pure water holds no salt."""
    assert conductivity_at_25(conductivity, 25.0) == conductivity
    assert salinity_from_conductance(0.0) == 0.0


@given(volume=st.floats(1.0, 1e5), flow=st.floats(0.0, 1e4), first=st.floats(0.0, 500.0), second=st.floats(0.0, 500.0))
def test_flushing_twice_leaves_the_product_of_what_each_leaves(
    volume: float, flow: float, first: float, second: float
) -> None:
    """What remains decays exponentially; nothing is flushed at once, and never more than all."""

    def remains(time: float) -> float:
        return 1.0 - float(water_loop.flushed_fraction(volume, flow, time))

    assert remains(first + second) == pytest.approx(remains(first) * remains(second), abs=1e-9)
    assert remains(0.0) == 1.0
    assert 0.0 <= remains(first) <= 1.0


def test_a_tiny_flow_still_flushes_a_little() -> None:
    """For a small exponent the fraction is Q t/V to full precision."""
    assert water_loop.flushed_fraction(1e7, 1e-9, 1.0) == pytest.approx(1e-16, rel=1e-9)


@given(
    area=st.floats(0.01, 100.0),
    depth=st.floats(0.01, 1.0),
    porosity=st.floats(0.05, 1.0),
    inflow=st.floats(0.01, 100.0),
)
def test_a_bed_that_drains_twice_as_fast_as_it_fills_takes_as_long(
    area: float, depth: float, porosity: float, inflow: float
) -> None:
    """With a siphon of twice the inflow, filling and draining take the same time."""
    fill = water_loop.bed_fill_time(area, depth, porosity, inflow)
    assert water_loop.bed_drain_time(area, depth, porosity, inflow, 2.0 * inflow) == pytest.approx(float(fill))


def test_a_notch_twice_as_deep_carries_about_six_times_the_water() -> None:
    """Flow goes with the level to the power of five halves."""
    ratio = weir.v_notch_flow(0.4) / weir.v_notch_flow(0.2)
    assert ratio == pytest.approx(2.0**2.5, rel=0.01)


@given(temperature=st.floats(0.0, 50.0))
def test_water_in_saturated_air_of_its_own_warmth_does_not_evaporate(temperature: float) -> None:
    """No difference of vapour pressure, no evaporation; in wetter, warmer air vapour settles on the water."""
    assert tank_evaporation(2.0, temperature, temperature, 100.0) == pytest.approx(0.0, abs=1e-9)
    assert tank_evaporation(2.0, temperature, temperature + 5.0, 100.0) < 0.0
    assert tank_evaporation(2.0, temperature, temperature, 50.0, 1.0) > tank_evaporation(
        2.0, temperature, temperature, 50.0, 0.0
    )


@given(mass=st.floats(20.0, 250.0), temperature=st.floats(24.0, 32.0))
def test_oxygen_demand_stays_plausible_inside_its_range(mass: float, temperature: float) -> None:
    """The fitted surface stays between 100 and 700 mg/kg/h in the span that is allowed."""
    assert 100.0 < fish.fish_oxygen_demand(mass, temperature) < 700.0


def test_soil_water_stays_between_nothing_and_all_pores() -> None:
    """From dry to soaked soil the polynomial gives 3 to 51 %."""
    water_content = np.asarray(soil.soil_water_content(np.linspace(3.0, 40.0, 100)))
    assert 2.5 < water_content.min() < water_content.max() < 55.0


# --- runways


@pytest.mark.parametrize(
    ("left", "at_limit"),
    [
        (lambda now: runway.oxygen_runway(1000.0, 20.0, 250.0, now, 3.0), 3.0),
        (lambda now: runway.oxygen_slope_runway(now, 0.5, 3.0), 3.0),
        (lambda now: runway.frost_runway(now, -1.0, 3.0), 3.0),
        (lambda now: alkalinity_runway(now, 30.0, 2000.0, 100.0), 30.0),
    ],
    ids=["oxygen", "oxygen slope", "frost", "alkalinity"],
)
def test_a_runway_is_zero_at_its_limit_and_beyond(left: Callable[[float], FloatOrArray], at_limit: float) -> None:
    """Above the limit there is time, at it and below there is none, and never a negative time."""
    assert left(at_limit + 0.1) > 0.0
    assert left(at_limit) == 0.0
    assert left(at_limit - 1.0) == 0.0


def test_a_heat_runway_is_zero_at_its_limit_and_beyond() -> None:
    """Below the limit there is time, at it and above there is none."""
    assert runway.heat_runway(39.9, 1.0, 40.0) > 0.0
    assert runway.heat_runway(40.0, 1.0, 40.0) == 0.0
    assert runway.heat_runway(41.0, 1.0, 40.0) == 0.0


def test_an_empty_sump_has_no_time_left() -> None:
    """No water above the mark, no time."""
    assert runway.water_runway(0.0, 1.0) == 0.0


# --- season


@given(hourly=st.lists(st.floats(-50.0, 60.0), min_size=1, max_size=48))
def test_chill_of_a_series_is_bounded_and_adds_up(hourly: list[float]) -> None:
    """No hour brings more than one unit or takes more than one; two halves add up to the whole."""
    column = np.array(hourly)
    assert -len(hourly) <= utah_chill(column) <= len(hourly)
    assert 0 <= chill_hours(column) <= len(hourly)
    half = len(hourly) // 2
    assert utah_chill(column) == utah_chill(column[:half]) + utah_chill(column[half:])
    assert chill_hours(column) == chill_hours(column[:half]) + chill_hours(column[half:])


@pytest.mark.parametrize(
    ("edge", "at", "above"),
    [(1.4, 0, 0.5), (2.4, 0.5, 1), (9.1, 1, 0.5), (12.4, 0.5, 0), (15.9, 0, -0.5), (18.0, -0.5, -1)],
)
def test_an_upper_end_of_the_chill_table_belongs_to_the_row_below(edge: float, at: float, above: float) -> None:
    """At an end the lower row counts, also with the dust of binary fractions on it; just above, the upper row."""
    assert utah_units(edge - 0.01) == at
    assert utah_units(edge) == at
    assert utah_units(np.nextafter(edge, 99.0)) == at
    assert utah_units(edge + 0.01) == above


@pytest.mark.parametrize(
    ("temperature", "below", "chill", "above"),
    [(-0.01, 1, 0, 0), (0.0, 1, 1, 0), (7.19, 1, 1, 0), (7.2, 0, 1, 0), (7.21, 0, 0, 1), (14 * 0.1 + 5.8, 0, 1, 0)],
)
def test_ends_of_hour_counts(temperature: float, below: int, chill: int, above: int) -> None:
    """Chill hours count both ends of 0 to 7.2; hours below and above leave the limit itself out."""
    hourly = np.array([temperature])
    assert hours_below(hourly, 7.2) == below
    assert chill_hours(hourly) == chill
    assert hours_above(hourly, 7.2) == above


@pytest.mark.parametrize(("humidity", "wet"), [(89.9, 0), (90.0, 1), (90.1, 1)])
def test_leaves_count_as_wet_from_the_threshold_on(humidity: float, wet: int) -> None:
    """The threshold itself is wet."""
    assert leaf_wetness_hours(np.array([humidity])) == wet


@given(maximum=st.floats(-50.0, 60.0), drop=st.floats(0.0, 40.0), base=st.floats(-10.0, 40.0))
def test_degree_days_are_never_negative_and_method_2_never_less(maximum: float, drop: float, base: float) -> None:
    """Method 2 gives at least method 1, the same when the minimum is not below the base; a warmer day never less."""
    minimum = maximum - drop
    first = degree_days(maximum, minimum, base, 1)
    second = degree_days(maximum, minimum, base, 2)
    assert 0.0 <= first <= second + 1e-9
    if minimum >= base:
        assert first == pytest.approx(float(second), abs=1e-9)
    for method in (1, 2):
        assert degree_days(maximum + 1.0, minimum, base, method) >= degree_days(maximum, minimum, base, method)


def test_a_cutoff_lowers_the_mean_or_each_extreme() -> None:
    """35 and 20 over base 10, cut off at 25: the mean of 27.5 counts as 25 (method 1), 35 counts as 25 (method 2)."""
    assert degree_days(35.0, 20.0, 10.0, 1, 25.0) == 15.0
    assert degree_days(35.0, 20.0, 10.0, 2, 25.0) == 12.5


def test_another_method_of_degree_days_is_refused() -> None:
    """There is no method 3."""
    with pytest.raises(ValueError, match="method 3 of degree days is not known; 1 or 2"):
        degree_days(20.0, 10.0, 5.0, 3)


def test_one_reading_spans_no_time_and_holds_no_light() -> None:
    """Trapezoids need two ends; a steady light over one hour is its integral."""
    assert light.light_sum(np.array([500.0]), 600.0) == 0.0
    steady = light.light_sum(np.full(7, 500.0), 600.0)
    assert steady == pytest.approx(float(light.light_integral(500.0, 1.0)), rel=1e-12)


# --- air streams


@given(
    irradiance=st.floats(1.0, 1400.0),
    transmission=st.floats(0.01, 1.0),
    evaporated=st.floats(0.0, 0.99),
    area=st.floats(1.0, 1000.0),
    flow=st.floats(0.1, 100.0),
)
def test_the_heat_that_warms_the_house_is_the_heat_that_the_air_carries_off(
    irradiance: float, transmission: float, evaporated: float, area: float, flow: float
) -> None:
    """Rise and flow undo each other, and the stream's heat is the sun's that was not evaporated."""
    rise = air_streams.greenhouse_temperature_rise(irradiance, transmission, evaporated, area, flow)
    back = air_streams.air_flow_for_rise(irradiance, transmission, evaporated, area, rise)
    assert back == pytest.approx(flow, rel=1e-9)
    sun = irradiance * transmission * (1.0 - evaporated) * area / 1000.0
    assert air_streams.air_stream_heat(flow, rise) == pytest.approx(sun, rel=1e-9)


def test_air_changes_and_their_flow_undo_each_other() -> None:
    """The flow for so many changes gives so many changes."""
    flow = air_streams.air_change_flow(200.0, 45.0)
    assert air_streams.air_changes(200.0, flow) == pytest.approx(45.0)


def test_every_direction_named_is_of_a_quantity_that_is_there() -> None:
    """The table of directions names real quantities and arguments."""
    for name, moved, _ in DIRECTIONS:
        assert moved in [argument.name for argument in DERIVED[name].arguments]
