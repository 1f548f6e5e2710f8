"""Which readings of a recording did the quality tests doubt in the end? Few, so they are kept apart from the rest."""

from __future__ import annotations

import numpy as np

from rules.flags import Flag
from rules.quality.all_points import Judged
from rules.quality.quality import Finals, last_said


class Doubted:
    """Gathers them step by step."""

    def __init__(self) -> None:
        self._parts: dict[str, list[Finals]] = {}

    def hear(self, judged: Judged) -> None:
        """What the tests said in one step."""
        for name, part in judged.parts.items():
            self._add(name, Finals(part.times, part.flags))
        for name, finals in judged.finals.items():
            self._add(name, finals)

    def _add(self, name: str, said: Finals) -> None:
        which = np.flatnonzero((said.flags == Flag.SUSPECT) | (said.flags == Flag.FAIL))
        if len(which):
            self._parts.setdefault(name, []).append(Finals(said.times[which], said.flags[which]))

    def found(self) -> dict[str, Finals]:
        """By point, in order of time; of what was said twice of a reading the last."""
        return {name: last_said(parts) for name, parts in self._parts.items()}
