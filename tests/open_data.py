"""Where are the measured data sets that tests use, and how are they read? See data/README.md."""

from __future__ import annotations

import gzip
from pathlib import Path

DATA = Path(__file__).parent / "data"

WATER_FLOW = DATA / "water-flow.csv"
"""A recording as it stands: point `Water flow` in l/s, hourly, times with an offset."""
_SEA_SURFACE = DATA / "sea_surface_temperature.csv.gz"


def sea_surface(folder: Path) -> Path:
    """The water temperature of a buoy as a recording in `folder`: point `sea.temperature` in degC, half-hourly.

    The header of the data set names its columns otherwise; nothing else is changed.
    """
    header, _, lines = gzip.decompress(_SEA_SURFACE.read_bytes()).partition(b"\n")
    assert header == b"time (UTC),temperature (celsius)"
    recording = folder / "sea_surface_temperature.csv"
    recording.write_bytes(b"time,sea.temperature [degC]\n" + lines)
    return recording
