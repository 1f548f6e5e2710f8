"""Which kinds of day can be simulated, and what happens on each?"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import date

from demo_replay.physics.chemistry import Life
from demo_replay.physics.climate import Start
from demo_replay.physics.weather import WeatherSettings
from demo_replay.probes import ProbeFault
from demo_replay.works import Failure

JOINED = 45.0
"""Minutes by which two spans out of a limit must lie apart to be two events."""


@dataclass(frozen=True, slots=True)
class Marked:
    """A true event to label: the span of a failure of a part or of a probe, by its number, or of a true value.

    `truth` names a point whose true value is `below` or `above` a limit in its unit; spans less than `JOINED` minutes
    apart are one, and what is then shorter than `lasting` minutes is not marked.
    """

    rule: str
    note: str
    failure: int | None = None
    probe_fault: int | None = None
    truth: str = ""
    below: float = -math.inf
    above: float = math.inf
    lasting: float = 10.0


@dataclass(frozen=True, slots=True)
class DayKind:
    """A kind of day. Hours count from local midnight of its first date; the recording lasts 24 h from `begins`.

    `spread`: how many minutes earlier or later, by seed, its failures may begin.
    """

    day: date
    weather: WeatherSettings
    start: Start
    begins: int = 0
    life: Life = field(default_factory=Life)
    failures: tuple[Failure, ...] = ()
    probe_faults: tuple[ProbeFault, ...] = ()
    marks: tuple[Marked, ...] = ()
    spread: int = 20


RECORDED = (
    "ordinary", "hot", "frost", "pump_trip", "siphon_stuck", "slow_leak", "dawn_oxygen", "dirty_probe",
)  # fmt: skip
"""The kinds that are shipped as recordings."""

_SPRING = WeatherSettings(mean=10.5, swing=4.0, dew_point=5.0, cloud=0.6)
_MAY = WeatherSettings(mean=13.5, swing=5.0, dew_point=8.0, cloud=0.55)
_SUMMER = WeatherSettings(mean=16.5, swing=5.0, dew_point=11.5, cloud=0.5)
_AUTUMN = WeatherSettings(mean=12.5, swing=3.5, dew_point=9.5, cloud=0.65)
_MAY_START = Start(air=15.0, water=23.6, soil=17.0, store=16.0)
_SPRING_START = Start(air=16.0, water=23.4, soil=15.0, store=15.0)

_OXYGEN_LOW = Marked("tank.oxygen_low", "oxygen in the tank under 4 mg/L", truth="tank.oxygen", below=4.0)
_OXYGEN_WARN = Marked("tank.oxygen_warn", "oxygen in the tank under 5 mg/L", truth="tank.oxygen", below=5.0)
_OXYGEN_CRITICAL = Marked(
    "tank.oxygen_critical", "oxygen in the tank under 3 mg/L", truth="tank.oxygen", below=3.0, lasting=2.0
)


def _stopped(*failures: Failure, note: str, rule: str = "loop.stopped") -> DayKind:
    """A spring night, noon to noon, in which the water stops; the first failure is the one to label."""
    return DayKind(
        day=date(2026, 4, 2),
        weather=_SPRING,
        start=_SPRING_START,
        begins=12,
        failures=failures,
        marks=(Marked(rule, note, failure=0), _OXYGEN_WARN, _OXYGEN_LOW, _OXYGEN_CRITICAL),
    )


def _troubled(*failures: Failure, rule: str, note: str, faults: tuple[ProbeFault, ...] = ()) -> DayKind:
    """A plain day in May with one trouble in the loop."""
    return DayKind(
        day=date(2026, 5, 20),
        weather=_MAY,
        start=_MAY_START,
        failures=failures,
        probe_faults=faults,
        marks=(Marked(rule, note, failure=0) if failures else Marked(rule, note, probe_fault=0),),
    )


_HOT = DayKind(
    day=date(2026, 7, 11),
    weather=WeatherSettings(mean=26.0, swing=7.5, dew_point=15.5, cloud=0.05),
    start=Start(air=20.0, water=25.6, soil=22.0, store=20.5),
    marks=(
        Marked("house.warm", "air in the house over 32 °C", truth="house.temperature", above=32.0, lasting=20.0),
        Marked("house.hot", "air in the house over 36 °C", truth="house.temperature", above=36.0, lasting=15.0),
    ),
)
_FROST = DayKind(
    day=date(2026, 2, 3),
    weather=WeatherSettings(mean=-1.0, swing=4.5, dew_point=-5.5, cloud=0.05, leakage=0.6, mean_after=-3.6),
    start=Start(air=13.0, water=22.4, soil=11.0, store=11.0),
    begins=12,
    marks=(
        Marked("house.cool", "air in the house under 10 °C", truth="house.temperature", below=10.0, lasting=20.0),
        Marked("house.cold", "air in the house under 7 °C", truth="house.temperature", below=7.0, lasting=15.0),
        Marked("house.frost", "air in the house under 3 °C", truth="house.temperature", below=3.0, lasting=5.0),
    ),
)

KINDS: dict[str, DayKind] = {
    "ordinary": DayKind(day=date(2026, 5, 19), weather=_MAY, start=_MAY_START),
    "hot": _HOT,
    "frost": _FROST,
    "pump_trip": _stopped(
        Failure("pump", 26.2, 30.4), note="pump tripped; plugged in again by the keeper in the morning"
    ),
    "siphon_stuck": DayKind(
        day=date(2026, 6, 9),
        weather=_SUMMER,
        start=Start(air=16.5, water=24.4, soil=19.0, store=18.0),
        failures=(Failure("siphon break", 9.5, 21.0, bed=2),),
        marks=(Marked("bed2.stays_low", "siphon of bed 2 did not break; cleaned in the evening", failure=0),),
    ),
    "slow_leak": DayKind(
        day=date(2026, 9, 15),
        weather=_AUTUMN,
        start=Start(air=15.5, water=23.8, soil=17.5, store=17.5),
        failures=(Failure("sump", 8.0, 25.0, leak=0.15),),
        marks=(
            Marked("loop.leak", "seam of the sump weeps about 9 L an hour", failure=0),
            Marked("floor.wet_now", "water from the sump on the floor", truth="floor.wet", above=0.5),
        ),
    ),
    "dawn_oxygen": DayKind(
        day=date(2026, 8, 19),
        weather=WeatherSettings(mean=19.5, swing=5.5, dew_point=14.0, cloud=0.2),
        start=Start(air=29.0, water=26.4, soil=21.0, store=20.5),
        begins=12,
        life=Life(algae=6.0, splash=0.5, rot=2.0),
        marks=(_OXYGEN_WARN, _OXYGEN_LOW),
    ),
    "dirty_probe": DayKind(
        day=date(2026, 10, 6),
        weather=_AUTUMN,
        start=Start(air=14.0, water=23.4, soil=16.0, store=16.5),
        probe_faults=(
            ProbeFault("silent", "tank.oxygen", 9.2, 12.6),
            ProbeFault("spikes", "house.temperature", 13.0, 16.0, value=18.0, share=0.04),
            ProbeFault("stuck", "tank.ph", 11.0, 21.0),
            ProbeFault("fixed", "tank.temperature", 15.2, 15.7, value=85.0, share=0.4),
            ProbeFault("fixed", "low.temperature", 18.0, 19.5, value=-127.0, share=1.0),
        ),
        marks=(
            Marked("tank.oxygen_silent", "oxygen probe unplugged", probe_fault=0),
            Marked("tank.ph_stuck", "pH probe repeats one value", probe_fault=2),
            Marked("low.temperature_code", "cable of the low air probe broken", probe_fault=4),
        ),
    ),
    # From here on: not shipped, made on demand for tests. First the water-loop signatures of the trade, then the rest.
    "power_cut": _stopped(Failure("home mains", 26.2, 28.2), rule="mains.off", note="no power on the whole property"),
    "breaker_trip": _stopped(
        Failure("mains", 26.2, 28.2), rule="mains.breaker", note="the breaker of the glasshouse tripped"
    ),
    "rotor_jammed": _stopped(Failure("rotor", 26.2, 28.2), rule="loop.jammed", note="a snail jams the pump"),
    "valve_shut": _stopped(
        Failure("valve", 14.5, 16.5), rule="loop.valve_shut", note="valve after the pump left shut after work"
    ),
    "intake_blocked": _troubled(
        Failure("intake", 3.0, 22.0, left=0.4, creeping=True), rule="loop.slow", note="strainer clogs over the day"
    ),
    "sump_dry": _troubled(
        Failure("sump", 5.0, 24.0, leak=1.0), rule="sump.low", note="sump loses water until the pump draws air"
    ),
    "burst_pipe": _troubled(Failure("pipe", 11.0, 24.0), rule="loop.burst", note="delivery pipe slipped off"),
    "breather_blocked": _stopped(
        Failure("pump", 26.2, 28.2),
        Failure("breather", 26.2, 28.2),
        rule="tank.siphoned",
        note="pump stopped and its return pipe siphons the tank back",
    ),
    "siphon_will_not_start": _troubled(
        Failure("siphon start", 9.5, 22.0, bed=2), rule="bed2.stays_full", note="siphon of bed 2 does not start"
    ),
    "bed_without_inflow": _troubled(
        Failure("bed inflow", 9.5, 22.0, bed=1), rule="bed1.no_inflow", note="valve of bed 1 blocked"
    ),
    "splashing": DayKind(
        day=date(2026, 5, 20),
        weather=_MAY,
        start=_MAY_START,
        failures=(Failure("pump", 13.0, 15.5), Failure("sump", 1.0, 13.0, leak=0.06)),
        marks=(
            Marked("loop.splash", "a spout splashes beside its bed; pump off for work", failure=0),
            Marked("loop.stopped", "pump off for work", failure=0),
            Marked("floor.wet_now", "water from the spout on the floor", truth="floor.wet", above=0.5),
        ),
        spread=1,
    ),
    "filter_clogging": _troubled(
        Failure("filter", 6.0, 22.0, left=0.16, creeping=True), rule="filter.clogged", note="solids filter fills up"
    ),
    "flow_meter_stuck": _troubled(
        rule="loop.flow_stuck",
        note="flow meter shows nothing while the water runs",
        faults=(ProbeFault("fixed", "loop.flow", 8.0, 20.0, value=0.0, share=1.0),),
    ),
    "topped_up": DayKind(
        day=date(2026, 5, 20),
        weather=_MAY,
        start=_MAY_START,
        failures=(Failure("top-up", 10.0, 13.0, leak=0.8),),
        marks=(
            Marked("topup.untreated", "the tap of the top-up is left open", failure=0),
            Marked("sump.filling", "sump near its rim in each tide", truth="sump.level", above=80.5, lasting=3.0),
        ),
    ),
    "air_pump_stopped": _troubled(Failure("air pump", 9.0, 15.0), rule="airpump.stopped", note="air pump unplugged"),
    "vents_stuck_shut": DayKind(
        day=date(2026, 5, 20),
        weather=WeatherSettings(mean=18.0, swing=6.0, dew_point=10.0, cloud=0.1),
        start=_MAY_START,
        failures=(Failure("vents opening", 5.0, 17.0),),
        marks=(
            Marked("vents.stuck_shut", "vents do not open", truth="house.temperature", above=30.0),
            Marked("vents.stuck_shut_hot", "vents do not open, air over 36 °C", truth="house.temperature", above=36.5),
        ),
    ),
    "fan_dead": replace(
        _HOT,
        failures=(Failure("fan", 8.0, 20.0),),
        marks=(
            *_HOT.marks,
            Marked("fan.dead", "exhaust fan does not turn", truth="house.temperature", above=33.0, lasting=30.0),
        ),
    ),
    "vents_stuck_open": DayKind(
        day=date(2026, 4, 15),
        weather=WeatherSettings(mean=9.0, swing=8.0, dew_point=-1.0, cloud=0.0, mean_after=4.0),
        start=Start(air=25.0, water=22.8, soil=13.0, store=13.0),
        begins=12,
        failures=(Failure("vents shutting", 12.4, 30.0),),
        marks=(
            *_FROST.marks[:2],
            Marked("vents.stuck_open", "vents do not shut", truth="outside.temperature", below=2.0),
        ),
    ),
    "ground_fan_dead": replace(
        _FROST,
        failures=(Failure("ground fan", 14.0, 24.5),),
        marks=(
            *_FROST.marks,
            Marked("groundloop.dead_cold", "fan of the ground loop off", truth="house.temperature", below=7.0),
        ),
    ),
}
"""Kind -> what happens on it."""
