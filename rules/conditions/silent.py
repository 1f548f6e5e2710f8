"""When has a point gone silent? When it is unknown: no usable reading for `stale_after`."""

from __future__ import annotations

from typing import Literal

from rules.settings import RuleSettings


class SilentSettings(RuleSettings):
    """No usable reading of the point for longer than its `stale_after`."""

    kind: Literal["silent"]
    point: str
