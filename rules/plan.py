"""What is judged, and by which rules? The plan that the daemon, replay and tune receive; never a site file."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from rules.derived_settings import AnyDerived
from rules.door import decimal_places
from rules.message_settings import MessageSettings
from rules.people import PersonSettings
from rules.quality.settings import QualitySettings
from rules.quantities import Quantity, quantity
from rules.settings import RuleSettings
from rules.stages import StageSettings
from rules.units import Unit, parse_unit


@dataclass(frozen=True, slots=True)
class PointPlan:
    """One measured or derived quantity at one place. Durations in ms; resolution in `unit`."""

    id: str
    quantity: str
    unit: str
    resolution: Fraction
    expect_every: int = 60_000
    stale_after: int = 180_000
    accept_suspect: bool = False
    name: str = ""
    """What people call it, as in "Oxygen in the fish tank"; left out, the id serves."""
    quality: tuple[QualitySettings, ...] = ()
    """The tests that say which of its readings can be believed; none: rules take each as it comes."""
    raw_unit: str = ""
    """What its probe sends, as in mV, where that is not `unit`."""
    raw_resolution: Fraction | None = None
    """What one count of the probe is worth in `raw_unit`, where that is not `resolution`."""

    @property
    def kind(self) -> Quantity:
        """The quantity this point measures."""
        return quantity(self.quantity)

    @property
    def units(self) -> Unit:
        """The parsed unit; of a difference where that is what the point measures."""
        unit = parse_unit(self.unit)
        return dataclasses.replace(unit, difference=True) if self.kind.difference else unit

    @property
    def raw(self) -> PointPlan:
        """The point as its probe sends it and the store keeps it, before any calibration."""
        resolution = self.raw_resolution or self.resolution
        if not self.raw_unit and resolution == self.resolution:
            return self
        return dataclasses.replace(self, unit=self.raw_unit or self.unit, resolution=resolution)

    @property
    def places(self) -> int:
        """Decimal places that show every count exactly."""
        return decimal_places(self.resolution)


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything the engine needs to judge readings. `settle` and `catch_up` in ms."""

    name: str
    timezone: str
    points: tuple[PointPlan, ...]
    rules: tuple[RuleSettings, ...] = ()
    stages: tuple[StageSettings, ...] = ()
    persons: tuple[PersonSettings, ...] = ()
    settle: int = 1000
    catch_up: int = 60_000
    derived: tuple[AnyDerived, ...] = ()
    """Points worked out from others; each may rest on points and on derived ones above it."""
    temperature_unit: str = "degC"
    volume_unit: str = "L"
    messages: MessageSettings = field(default_factory=MessageSettings)
    texts: Mapping[str, str] = field(default_factory=dict)
    """Texts that replace those of rules/texts.py, by name: another language, or the keeper's own words."""

    def point(self, name: str) -> PointPlan:
        """The point called `name`; KeyError where there is none."""
        for candidate in self.points:
            if candidate.id == name:
                return candidate
        raise KeyError(name)

    def raw(self) -> Plan:
        """This plan with its points as their probes send them, for adapters."""
        return dataclasses.replace(self, points=tuple(point.raw for point in self.points))

    def with_rules(self, rules: tuple[RuleSettings, ...]) -> Plan:
        """This plan with other rules, for `--set` and tuning."""
        return dataclasses.replace(self, rules=rules)
