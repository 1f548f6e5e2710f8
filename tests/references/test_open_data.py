"""Do band alarms in a replay agree with values computed apart from the project, on measured data that packages carry?

The data and their licences: tests/data/README.md. The values were worked out with pandas by the timer's definition: an
alarm is raised at onset + on_delay when no reading came back within the limit at or before that instant, and cleared at
the first reading at or within limit - deadband (or + on the low side). Rows without a value count as not there. A value
is held until the next reading, however late, but in the tests that name a hold. Limits and delays lie between the
data's steps, so that "beyond" and "at" make no difference.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from adapters.recordings import Recording, read_recordings
from demo_replay.episodes import Episode, episodes, peak
from demo_replay.replay import replay
from rules.conditions.band import BandSettings
from rules.door import as_decimal
from rules.plan import Plan, PointPlan
from rules.units import parse_unit
from tests.open_data import DATA, WATER_FLOW, sea_surface

DAY = 86_400_000
FOREVER = 400 * DAY
STREAM = DATA / "stream-month.csv.gz"
AIRPORTS = DATA / "airports-2013.csv.gz"
OFFICE = DATA / "occupancy.csv"

Spell = tuple[str, str, str | None]
"""Onset, raised and cleared (None: not cleared) in UTC, as month-day hour:minute, with seconds where they are not 0."""


@cache
def _read(path: Path, point: PointPlan) -> Recording:
    recording = read_recordings([path], {point.id: point}, "UTC")
    assert recording.bad_count == 0
    return recording


@dataclass(frozen=True)
class Series:
    """One point of a data set."""

    path: Path
    point: str
    quantity: str
    unit: str

    def alarms(self, hold: int = FOREVER, **settings: Any) -> list[Episode]:
        """Every alarm of a band rule with these settings; `hold` is the point's stale_after in ms."""
        plan, recording = self._plan(hold, settings)
        return episodes(replay(plan, recording).events)

    def spells(self, hold: int = FOREVER, **settings: Any) -> list[Spell]:
        """Onset, raised and cleared of every alarm."""
        return [
            (_shown(one.onset), _shown(one.raised), None if one.ended is None else _shown(one.ended))
            for one in self.alarms(hold, **settings)
        ]

    def peaks(self, **settings: Any) -> list[Decimal]:
        """The farthest value of every alarm, in the point's unit."""
        plan, recording = self._plan(FOREVER, settings)
        replayed = replay(plan, recording)
        found = [peak(plan.points[0], recording, one, replayed.shown[1]) for one in episodes(replayed.events)]
        return [as_decimal(one.counts, one.point.resolution).normalize() for one in found if one is not None]

    def _plan(self, hold: int, settings: dict[str, Any]) -> tuple[Plan, Recording]:
        symbol = parse_unit(self.unit).symbol
        known = PointPlan(self.point, self.quantity, symbol, Fraction(1, 1_000_000), 3_600_000, FOREVER)
        point = PointPlan(self.point, self.quantity, symbol, known.resolution, known.expect_every, hold)
        rule = BandSettings.model_validate({"id": "checked", "kind": "band", "point": self.point, **settings})
        return Plan("Open data", "UTC", (point,), (rule,)), _read(self.path, known)


def _shown(ms: int) -> str:
    moment = dt.datetime.fromtimestamp(ms / 1000, tz=dt.UTC)
    return f"{moment:%m-%d %H:%M:%S}" if moment.second else f"{moment:%m-%d %H:%M}"


def test_the_data_sets_are_the_ones_that_the_readme_names() -> None:
    """Each file of the README's second table has the SHA-256 that stands there."""
    readme = (DATA / "README.md").read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `([^`]+)`[^|]*\| `([0-9a-f]{64})` \| ", readme, re.MULTILINE))
    assert set(told) == {STREAM.name, AIRPORTS.name, OFFICE.name}
    assert {name: hashlib.sha256((DATA / name).read_bytes()).hexdigest() for name in told} == told


FLOW = Series(WATER_FLOW, "Water flow", "flow", "l/s")


@pytest.fixture(scope="module")
def sea(tmp_path_factory: pytest.TempPathFactory) -> Series:
    """The buoy of set 5."""
    return Series(sea_surface(tmp_path_factory.mktemp("sea")), "sea.temperature", "water_temperature", "degC")


# Set 1: water flow in a pipe, hourly, 2022. Three real low-flow events, ten holes, the clock change of 27 March.


@pytest.mark.parametrize(
    ("low", "deadband", "expected"),
    [
        (
            "90.005",
            5,
            [
                ("03-24 08:00", "03-24 09:30", "03-25 01:00"),
                ("03-29 07:00", "03-29 08:30", "03-29 19:00"),
                ("04-27 14:00", "04-27 15:30", "04-28 04:00"),
            ],
        ),
        (
            "97.005",
            1,
            [
                ("03-24 08:00", "03-24 09:30", "03-25 01:00"),
                ("03-29 06:00", "03-29 07:30", "03-29 19:00"),
                ("04-27 13:00", "04-27 14:30", "04-28 05:00"),
            ],
        ),
    ],
)
def test_low_flow_is_alarmed_at_each_of_the_three_events(low: str, deadband: int, expected: Sequence[Spell]) -> None:
    """Set 1: the three low-flow events, to the minute, at two limits."""
    assert FLOW.spells(low=low, deadband=deadband, on_delay="90 min") == expected


def test_a_waiting_ends_when_the_hold_ends_and_an_active_alarm_stays_through_a_hole() -> None:
    """Set 1, high 102.505, hold 3 h: 28 alarms; the 20th outlasts a hole, the last is raised inside one."""
    found = FLOW.spells(3 * 3_600_000, high="102.505", deadband=1, on_delay="270 min")
    assert len(found) == 28
    assert found[0] == ("03-25 06:00", "03-25 10:30", "03-26 02:00")
    assert found[19] == ("04-25 08:00", "04-25 12:30", "04-27 01:00")
    assert found[27] == ("05-12 18:00", "05-12 22:30", None)
    assert "05-11 20:00" not in [onset for onset, _, _ in found]


def test_a_value_that_is_held_without_limit_raises_its_alarm_inside_the_hole() -> None:
    """Set 1, high 102.505, held until the next reading: 28 alarms too, but the last begins a day earlier."""
    found = FLOW.spells(high="102.505", deadband=1, on_delay="270 min")
    assert len(found) == 28
    assert found[27] == ("05-11 20:00", "05-12 00:30", None)


# Set 5: sea surface temperature at a buoy, half-hourly, 2016-2017. One time stands twice; one hole of 12 hours.


def test_the_longest_warm_spell_of_the_sea_is_found_with_its_peak(sea: Series) -> None:
    """Set 5, high 20.0005: 12 alarms, the fifth from 26 July to 5 August with its peak of 22.15 °C."""
    settings: dict[str, Any] = {"high": "20.0005", "deadband": "0.5", "on_delay": "70 min"}
    found = sea.spells(**settings)
    assert len(found) == 12
    assert found[4] == ("07-26 15:00", "07-26 16:10", "08-05 08:00")
    assert sea.peaks(**settings)[4] == Decimal("22.15")


@pytest.mark.parametrize(("deadband", "on_delay", "count"), [("0", "70 min", 23), ("0.5", "0 s", 13), ("0", "0 s", 35)])
def test_deadband_and_delay_each_spare_alarms(sea: Series, deadband: str, on_delay: str, count: int) -> None:
    """Set 5, high 20.0005: without the deadband 23, without the delay 13, without both 35 alarms."""
    assert len(sea.alarms(high="20.0005", deadband=deadband, on_delay=on_delay)) == count


def test_the_cold_spells_of_the_sea_are_found_with_the_lowest_value(sea: Series) -> None:
    """Set 5, low 4.0005: 4 alarms, the last in March 2017 with its lowest of 3.612 °C."""
    settings: dict[str, Any] = {"low": "4.0005", "deadband": "0.2", "on_delay": "70 min"}
    found = sea.spells(**settings)
    assert len(found) == 4
    assert found[-1] == ("03-14 08:30", "03-14 09:40", "03-21 16:00")
    assert sea.peaks(**settings)[-1] == Decimal("3.612")


@pytest.mark.parametrize(("hold", "on_delay", "count"), [
    (90 * 60_000, "85 min", 12), (90 * 60_000, "95 min", 11), (FOREVER, "85 min", 12), (FOREVER, "95 min", 12),
])  # fmt: skip
def test_a_delay_that_ends_after_the_hold_raises_nothing(sea: Series, hold: int, on_delay: str, count: int) -> None:
    """Set 5, low 15.7505: the alarm of 8 July needs a hold that is longer than its delay."""
    found = sea.spells(hold, low="15.7505", deadband="0.5", on_delay=on_delay)
    assert len(found) == count
    if on_delay == "85 min":
        assert found[0] == ("02-15 00:00", "02-15 01:25", "06-07 19:30")
        assert found[5] == ("07-08 01:30", "07-08 02:55", "07-08 13:30")
        assert found[-1] == ("10-08 01:30", "10-08 02:55", None)
    elif hold == FOREVER:
        assert found[5] == ("07-08 01:30", "07-08 03:05", "07-08 13:30")
    else:
        assert "07-08 01:30" not in [onset for onset, _, _ in found]


# Set 3: a stream, every five minutes, May 2019.

OXYGEN = Series(STREAM, "stream.oxygen", "dissolved_oxygen", "mg/L")
STREAM_TEMPERATURE = Series(STREAM, "stream.temperature", "water_temperature", "degC")
PH = Series(STREAM, "stream.ph", "ph", "pH")


def test_the_one_night_of_low_oxygen_in_the_stream_is_found() -> None:
    """Set 3, oxygen low 7.05: one alarm on 30 May with its lowest of 6.7 mg/L."""
    settings: dict[str, Any] = {"low": "7.05", "deadband": "0.2", "on_delay": "62 min"}
    assert OXYGEN.spells(**settings) == [("05-30 22:15", "05-30 23:17", "05-31 05:55")]
    assert OXYGEN.peaks(**settings) == [Decimal("6.7")]


def test_the_three_nights_of_rather_low_oxygen_in_the_stream_are_found() -> None:
    """Set 3, oxygen low 7.25: three alarms, to the minute."""
    assert OXYGEN.spells(low="7.25", deadband="0.2", on_delay="62 min") == [
        ("05-02 22:20", "05-02 23:22", "05-03 07:05"),
        ("05-03 23:55", "05-04 00:57", "05-04 09:35"),
        ("05-30 22:00", "05-30 23:02", "05-31 09:00"),
    ]


@pytest.mark.parametrize(
    ("low", "deadband", "on_delay", "count"),
    [
        ("7.25", "0", "62 min", 4),
        ("7.25", "0.2", "0 s", 4),
        ("7.25", "0", "0 s", 8),
        ("7.45", "0.2", "62 min", 6),
        ("7.45", "0", "62 min", 6),
        ("7.45", "0.2", "0 s", 10),
        ("7.45", "0", "0 s", 19),
    ],
)
def test_oxygen_in_coarse_steps_chatters_without_deadband_and_delay(
    low: str, deadband: str, on_delay: str, count: int
) -> None:
    """Set 3, whose oxygen comes in steps of 0.1 mg/L: how many alarms each choice of deadband and delay gives."""
    assert len(OXYGEN.alarms(low=low, deadband=deadband, on_delay=on_delay)) == count


def test_the_warm_days_of_the_stream_are_found() -> None:
    """Set 3, water high 21.05: ten alarms, the last not cleared; 11 without the delay, 13 without deadband too."""
    found = STREAM_TEMPERATURE.spells(high="21.05", deadband="0.5", on_delay="62 min")
    assert len(found) == 10
    assert found[0] == ("05-02 20:45", "05-02 21:47", "05-03 01:55")
    assert found[-1] == ("06-01 16:15", "06-01 17:17", None)
    assert len(STREAM_TEMPERATURE.alarms(high="21.05", deadband="0.5")) == 11
    assert len(STREAM_TEMPERATURE.alarms(high="21.05")) == 13


def test_the_sour_spells_of_the_stream_are_found() -> None:
    """Set 3, pH low 7.25: four alarms, to the minute."""
    assert PH.spells(low="7.25", deadband="0.1", on_delay="62 min") == [
        ("05-01 05:25", "05-01 06:27", "05-02 19:20"),
        ("05-03 00:10", "05-03 01:12", "05-03 08:55"),
        ("05-11 02:20", "05-11 03:22", "05-11 07:50"),
        ("05-23 21:15", "05-23 22:17", "05-24 11:15"),
    ]


# Set 6: weather at three airports, hourly, 2013, in degrees Fahrenheit.


@pytest.mark.parametrize("unit", ["degF", "degC"])
@pytest.mark.parametrize(
    ("place", "hot", "without_delay", "without_both", "cold"),
    [("ewr", 15, 18, 23, 43), ("jfk", 7, 7, 8, 35), ("lga", 13, 17, 17, 29)],
)
def test_heat_and_frost_in_fahrenheit_are_the_same_in_a_point_of_either_unit(
    unit: str, place: str, hot: int, without_delay: int, without_both: int, cold: int
) -> None:
    """Set 6, high 90.05 and low 32.05 °F: counts of alarms, whether the point is kept in °F or in °C."""
    air = Series(AIRPORTS, f"{place}.air", "air_temperature", unit)
    assert len(air.alarms(high="90.05 degF", deadband="2 degF", on_delay="150 min")) == hot
    assert len(air.alarms(high="90.05 degF", deadband="2 degF")) == without_delay
    assert len(air.alarms(high="90.05 degF")) == without_both
    assert len(air.alarms(low="32.05 degF", deadband="1 degF", on_delay="330 min")) == cold


@pytest.mark.parametrize(("place", "count"), [("ewr", 20), ("jfk", 14), ("lga", 4)])
def test_damp_spells_at_the_airports_are_counted(place: str, count: int) -> None:
    """Set 6, humidity high 95.003 %, deadband 5, 5.5 h: 20, 14 and 4 alarms."""
    humidity = Series(AIRPORTS, f"{place}.humidity", "relative_humidity", "%")
    assert len(humidity.alarms(high="95.003", deadband=5, on_delay="330 min")) == count


# Set 7: an office, every 16 minutes give or take a second, February 2015.


def test_warm_spells_of_an_office_are_found_though_its_steps_are_uneven() -> None:
    """Set 7, temperature high 22.003: five alarms, to the second."""
    office = Series(OFFICE, "V1", "air_temperature", "degC")
    assert office.spells(high="22.003", deadband="0.5", on_delay="40 min") == [
        ("02-04 17:51", "02-04 18:31", "02-04 21:03"),
        ("02-05 09:35", "02-05 10:15", "02-05 18:39"),
        ("02-06 14:38:59", "02-06 15:18:59", "02-06 18:23"),
        ("02-07 10:54:59", "02-07 11:34:59", "02-07 15:42:59"),
        ("02-09 16:14:59", "02-09 16:54:59", "02-09 18:39"),
    ]


def test_dry_spells_of_an_office_are_found_with_the_lowest_value() -> None:
    """Set 7, humidity low 20.003 %: four alarms, the last with its lowest of 16.865 %."""
    office = Series(OFFICE, "V2", "relative_humidity", "%")
    settings: dict[str, Any] = {"low": "20.003", "deadband": 1, "on_delay": "40 min"}
    found = office.spells(**settings)
    assert len(found) == 4
    assert found[-1] == ("02-06 18:39", "02-06 19:19", "02-07 17:35")
    assert round(office.peaks(**settings)[-1], 6) == Decimal("16.865")


def test_stale_air_of_an_office_is_found_with_its_peak() -> None:
    """Set 7, carbon dioxide high 1000.03 ppm: three alarms, the highest 2012.5 ppm on 9 February."""
    office = Series(OFFICE, "V4", "ratio", "1")
    settings: dict[str, Any] = {"high": "1000.03", "deadband": 100, "on_delay": "40 min"}
    found = office.spells(**settings)
    assert len(found) == 3
    assert found[-1] == ("02-09 10:07", "02-09 10:47", "02-09 20:31")
    assert max(office.peaks(**settings)) == Decimal("2012.5")
