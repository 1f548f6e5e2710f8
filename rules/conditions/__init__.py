"""Which kinds of condition are there? One line each: the kind's name and its settings class."""

from __future__ import annotations

from rules.conditions.band import BandSettings
from rules.conditions.rate import RateSettings
from rules.conditions.silent import SilentSettings
from rules.conditions.stopped import StoppedSettings
from rules.settings import RuleSettings

KINDS: dict[str, type[RuleSettings]] = {
    "band": BandSettings,
    "rate": RateSettings,
    "stopped": StoppedSettings,
    "silent": SilentSettings,
}
"""kind (as in the site file) -> settings class."""
