"""Which kinds of condition are there? One line each: the kind's name and its settings class."""

from __future__ import annotations

from rules.conditions.ahead import AheadSettings
from rules.conditions.band import BandSettings
from rules.conditions.composite import AllOfSettings, AnyOfSettings, AtLeastSettings, NotSettings
from rules.conditions.cycle import CycleSettings
from rules.conditions.flat import FlatSettings
from rules.conditions.overdue import OverdueSettings
from rules.conditions.rate import RateSettings
from rules.conditions.silent import SilentSettings
from rules.conditions.spread import SpreadSettings
from rules.conditions.stopped import StoppedSettings
from rules.settings import RuleSettings

KINDS: dict[str, type[RuleSettings]] = {
    "band": BandSettings,
    "rate": RateSettings,
    "stopped": StoppedSettings,
    "silent": SilentSettings,
    "cycle": CycleSettings,
    "flat": FlatSettings,
    "spread": SpreadSettings,
    "ahead": AheadSettings,
    "overdue": OverdueSettings,
    "all_of": AllOfSettings,
    "any_of": AnyOfSettings,
    "at_least": AtLeastSettings,
    "not": NotSettings,
}
"""kind (as in the site file) -> settings class."""
