"""Is a simulated day whole, plausible and the same each time?"""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from demo_replay import place
from demo_replay.kinds import KINDS, RECORDED
from demo_replay.simulate import SimulatedDay, simulate
from tests.simulated_days import during, event, made, periods, shown

HOUR = 3_600_000


@pytest.mark.parametrize("kind", RECORDED)
def test_a_day_is_the_same_each_time(kind: str) -> None:
    """The same kind, seed and date give the same readings to the count, and the same labels."""
    first, second = made(kind), simulate(kind)
    for point in place.PROBES:
        assert np.array_equal(first.columns[point][0], second.columns[point][0])
        assert np.array_equal(first.columns[point][1], second.columns[point][1])
    assert first.labels == second.labels


def test_another_seed_is_another_day_of_the_same_kind() -> None:
    """Weather, noise and the hour of the failure differ by seed, within the spread."""
    begins = {made("pump_trip", seed).labels[0].start_ms for seed in (39, 1, 2, 3)}
    assert len(begins) > 1
    assert max(begins) - min(begins) <= 40 * 60_000
    assert not np.array_equal(
        made("pump_trip", 1).truth["outside.temperature"], made("pump_trip").truth["outside.temperature"]
    )


def test_the_recorded_pump_trips_at_twelve_minutes_past_two() -> None:
    """The default seed puts the trip at 02:12 local time on 3 April, two hours and more into normal tides."""
    day = made("pump_trip")
    trip = datetime.fromtimestamp(day.labels[0].start_ms / 1000, ZoneInfo(place.TIMEZONE))
    assert trip.isoformat() == "2026-04-03T02:12:00+01:00"
    assert day.labels[0].rule == "loop.stopped"
    assert day.labels[0].start_ms - day.begin_ms > 2 * HOUR


def test_another_date_moves_the_day() -> None:
    """A day starts at midnight or noon of the date it is given, in the place's time zone."""
    day = simulate("pump_trip", date=date(2027, 1, 5))
    assert datetime.fromtimestamp(day.begin_ms / 1000, UTC) == datetime(2027, 1, 5, 12, tzinfo=UTC)
    assert day.end_ms - day.begin_ms == 24 * HOUR


@pytest.mark.parametrize(
    ("first", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 6, 1), 24)]
)
def test_a_day_lasts_from_midnight_to_midnight_over_a_clock_change_too(first: date, hours: int) -> None:
    """When the clocks change, the local day has 23 or 25 hours, and so has its recording."""
    day = simulate("ordinary", date=first)
    assert day.end_ms - day.begin_ms == hours * HOUR
    assert day.columns["loop.flow"][0][-1] > day.end_ms - 60_000


def test_a_kind_that_is_not_known_is_refused_by_name() -> None:
    """The error names the kind and those that there are."""
    with pytest.raises(ValueError, match=r"no kind of day is called 'windy'; known: ordinary, hot, .*"):
        simulate("windy")


def test_a_negative_seed_is_refused() -> None:
    """The error says what to use instead."""
    with pytest.raises(ValueError, match="seed -1 is negative; use 0 or more"):
        simulate("ordinary", -1)


@pytest.mark.parametrize("kind", KINDS)
def test_every_point_sends_sorted_readings_within_the_day(kind: str) -> None:
    """Each probe's times grow, lie within the recording, and are as many as its interval makes, but for a few."""
    day = made(kind)
    assert set(day.columns) == set(day.points) == set(place.PROBES)
    for point, (times, counts) in day.columns.items():
        probe = place.PROBES[point]
        assert times.dtype == counts.dtype == np.int64
        assert np.all(np.diff(times) > 0)
        assert day.begin_ms <= times[0]
        assert times[-1] < day.end_ms
        expected = 24 * HOUR / (place.BOARDS[probe.board].interval * probe.every)
        assert expected * (0.85 if kind == "dirty_probe" else 0.995) - 1 <= len(times) <= expected + 1


@pytest.mark.parametrize("seed", [39, 4])
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_true_is_plausible(kind: str, seed: int) -> None:
    """True values stay within what such a place can show, whatever fails.

    Spans: water of a heated loop, 2 mg/L where most deaths begin up to a bloom's supersaturation, a loop's pH.
    """
    spans = {
        "tank.temperature": (20.0, 30.0),
        "tank.oxygen": (1.0, 11.0),
        "tank.ph": (6.2, 7.8),
        "house.temperature": (0.0, 42.0),
        "outside.temperature": (-12.0, 35.0),
        "house.humidity": (15.0, 100.0),
        "house.light": (0.0, 1400.0),
        "soil.temperature": (8.0, 28.0),
        "soil.moisture": (20.0, 40.0),
        "groundloop.outlet_temperature": (0.0, 35.0),
        "bed1.level": (0.0, place.BED_RIM),
        "bed2.level": (0.0, place.BED_RIM),
        "bed3.level": (0.0, place.BED_RIM),
        "sump.level": (0.0, place.SUMP_RIM),
        "tank.level": (60.0, 95.0),
        "loop.flow": (0.0, 22.0),
        "filter.head": (0.0, 3.0),
    }
    day = made(kind, seed)
    found = {point: (float(day.truth[point].min()), float(day.truth[point].max())) for point in spans}
    out = {p: f for p, f in found.items() if f[0] < spans[p][0] or f[1] > spans[p][1]}
    assert out == {}


@pytest.mark.parametrize("seed", [39, 5, 6])
def test_beds_of_a_plain_day_fill_and_drain_in_30_to_40_minutes(seed: int) -> None:
    """Each bed's tide takes 30 to 40 minutes, of which emptying takes 3 to 8."""
    day = made("ordinary", seed)
    for bed in (1, 2, 3):
        tides = periods(day, bed)
        assert len(tides) > 30
        assert tides.min() > 30.0
        assert tides.max() < 40.0
        falling = np.diff(day.truth[f"bed{bed}.level"]) < -0.1
        drains = np.diff(np.flatnonzero(np.diff(np.concatenate(([False], falling, [False])))))[::2] * 5 / 60
        inner = drains[1:-1]
        assert 3.0 < inner.min() <= inner.max() < 8.0


def test_a_plain_day_is_calm() -> None:
    """On the ordinary day nothing comes near a limit: no label, oxygen over 5.5, air 10 to 30, no fan, no wet floor."""
    day = made("ordinary")
    assert day.labels == []
    assert during(day, "tank.oxygen", 0, 24).min() > 5.5
    assert during(day, "house.temperature", 0, 24).min() > 10.0
    assert during(day, "house.temperature", 0, 24).max() < 30.0
    assert during(day, "fan.current", 0, 24).max() < 0.1
    assert during(day, "floor.wet", 0, 24).max() == 0
    assert during(day, "loop.flow", 0, 24).min() > 14.0


def test_a_plain_day_has_its_daily_swings() -> None:
    """Air, water, pH and light move as on a spring day: warm and bright after noon, dark and cool before dawn."""
    day = made("ordinary")
    assert during(day, "house.temperature", 12, 17).mean() > during(day, "house.temperature", 2, 5).mean() + 8
    assert during(day, "house.light", 12, 15).mean() > 300
    assert during(day, "house.light", 0, 3).max() < 15
    assert during(day, "house.humidity", 2, 5).mean() > during(day, "house.humidity", 13, 16).mean() + 15
    assert 0.3 < np.ptp(day.truth["tank.temperature"]) < 3.0
    assert 0.05 < np.ptp(day.truth["tank.ph"]) < 0.3
    assert during(day, "soil.moisture", 8, 9).mean() > during(day, "soil.moisture", 5, 7).mean() + 0.3


def test_a_hot_day_passes_36_degrees_with_all_stages_on() -> None:
    """Air over 36 °C for a while although vents are open and the fan runs; the label marks it."""
    day = made("hot")
    start, end = event(day, "house.hot")
    assert end - start > 0.5
    assert during(day, "house.temperature", start + 0.1, end - 0.1).min() > 35.7
    assert during(day, "house.temperature", 0, 24).max() < 40.0
    assert during(day, "vents.open", start, end).min() == 1
    assert during(day, "fan.current", start, end).min() > 0.8


def test_a_frost_night_goes_under_3_degrees_inside() -> None:
    """Inside it goes under 7 and then 3 °C, with vents shut and ground air at work; the water stays warm."""
    day = made("frost")
    assert {label.rule for label in day.labels} == {"house.cool", "house.cold", "house.frost"}
    start, end = event(day, "house.cold")
    assert during(day, "outside.temperature", 0, 24).min() < -5.0
    assert during(day, "house.temperature", 0, 24).min() < 3.0
    assert during(day, "low.temperature", 0, 24).min() < during(day, "house.temperature", 0, 24).min()
    assert during(day, "groundloop.current", start, end).min() > 0.4
    assert during(day, "vents.open", start, end).max() == 0
    assert during(day, "tank.temperature", 0, 24).min() > 21.5


def test_oxygen_sags_to_dawn_and_is_back_by_noon() -> None:
    """Lowest within an hour of first light, under 4 and over 2.5 mg/L, falling through the night, over 5 by noon."""
    day = made("dawn_oxygen")
    hours, oxygen = shown(day, "tank.oxygen")
    light_hours, light = shown(day, "house.light")
    dawn = light_hours[(light_hours > 12) & (light > 20)][0]
    lowest = hours[oxygen.argmin()]
    assert abs(lowest - dawn) < 1.5
    assert 2.5 < oxygen.min() < 4.0
    assert during(day, "tank.oxygen", 9, 10).mean() > during(day, "tank.oxygen", 14, 15).mean() + 0.5
    assert oxygen[-1] > 5.0
    assert [label.rule for label in day.labels] == ["tank.oxygen_warn", "tank.oxygen_low"]


def test_a_slow_leak_takes_the_same_by_night_and_by_day() -> None:
    """About 9 L an hour go from the sump, whatever the hour; nothing else is lost but evaporation."""
    day = made("slow_leak")
    start, _ = event(day)
    spilled = np.interp(np.arange(np.ceil(start), 24), (day.steps - day.begin_ms) / HOUR, day.loop.spilled)
    assert np.diff(spilled) == pytest.approx(np.full(len(spilled) - 1, 9.0), abs=0.1)
    sump = day.truth["sump.level"]
    assert sump[-6 * 720 :].mean() < sump[: 6 * 720].mean() - 9.0
    assert during(day, "floor.wet", start + 0.5, 24).min() == 1
    assert during(day, "loop.flow", 0, 24).min() > 10.0


def test_on_the_day_of_dirty_probes_the_water_and_the_air_are_fine() -> None:
    """Probes die, stick, spike and show codes; what is true is an ordinary day, and only the probes are labelled."""
    day = made("dirty_probe")
    assert {label.rule for label in day.labels} == {"tank.oxygen_silent", "tank.ph_stuck", "low.temperature_code"}
    assert day.truth["tank.oxygen"].min() > 5.5
    assert day.truth["house.temperature"].min() > 10.0
    assert day.truth["house.temperature"].max() < 30.0
    assert day.truth["loop.flow"].min() > 14.0
    hours, _ = shown(day, "tank.oxygen")
    assert np.diff(hours).max() > 3.0
    assert during(day, "tank.temperature", 0, 24).max() == 85.0
    assert during(day, "low.temperature", 0, 24).min() == -127.0
    assert during(day, "house.temperature", 13, 16).max() > 33.0
    assert len(set(during(day, "tank.ph", 11.1, 20.9).tolist())) == 1


def test_labels_lie_within_the_day_and_in_order() -> None:
    """No label starts after it ends, or before or after its recording."""
    for kind in KINDS:
        day: SimulatedDay = made(kind)
        for label in day.labels:
            assert day.begin_ms <= label.start_ms < label.end_ms <= day.end_ms
        assert [label.start_ms for label in day.labels] == sorted(label.start_ms for label in day.labels)
