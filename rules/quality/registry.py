"""Which quality tests are there? One line each: the test's name in the site file and its settings class."""

from __future__ import annotations

from rules.quality.attenuated import AttenuatedSettings
from rules.quality.climatology import ClimatologySettings
from rules.quality.codes import CodesSettings
from rules.quality.flat_line import FlatLineSettings
from rules.quality.gap import GapSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.neighbour import NeighbourSettings
from rules.quality.rate_of_change import RateOfChangeSettings
from rules.quality.settings import QualitySettings
from rules.quality.spike import SpikeSettings

TESTS: dict[str, type[QualitySettings]] = {
    "codes": CodesSettings,
    "gross_range": GrossRangeSettings,
    "climatology": ClimatologySettings,
    "gap": GapSettings,
    "spike": SpikeSettings,
    "rate_of_change": RateOfChangeSettings,
    "flat_line": FlatLineSettings,
    "attenuated": AttenuatedSettings,
    "neighbour": NeighbourSettings,
}
"""name -> settings class, in the order in which they are judged."""

NAMES: dict[type[QualitySettings], str] = {settings: name for name, settings in TESTS.items()}
"""The other way round."""
