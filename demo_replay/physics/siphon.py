"""How does a gravel bed with a bell siphon fill and drain?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from demo_replay import place

SIPHON_PASS = 6.8  # L/min per square root of cm
STANDPIPE_WEIR = 12.0  # L/min per cm^1.5
WEEP = 0.27  # L/min per square root of cm


@dataclass(slots=True)
class Bed:
    """A bed of `volume` L of water; `unevenness` (cm) shifts crest and slots from tide to tide.

    Outflow in L/min at level h cm (coefficients invented, shapes common practice): a weep hole at the foot of the
    standpipe k sqrt(h), so that a bed without inflow empties in hours; a primed siphon k sqrt(h + drop) (Torricelli);
    over the standpipe a weir k (h - crest)^1.5. The siphon starts at its crest and breaks at its slots.
    """

    volume: float
    unevenness: Sequence[float] = (0.0,)
    primed: bool = False
    tides: int = 0

    @property
    def level(self) -> float:
        """cm above the bed's floor."""
        return self.volume / place.BED_AREA

    def step(self, inflow: float, minutes: float, *, can_start: bool = True, can_break: bool = True) -> float:
        """Move on by `minutes` with `inflow` L/min; returns the outflow in L/min."""
        level = self.level
        slack = self.unevenness[self.tides % len(self.unevenness)]
        out = WEEP * math.sqrt(level)
        if self.primed and level > place.SIPHON_SLOTS + slack:
            out += SIPHON_PASS * math.sqrt(level + place.SIPHON_DROP)
        elif self.primed:
            # At the slots the siphon gulps air: it breaks, or goes on at the rate of the inflow.
            out = max(inflow, out)
            if can_break:
                self.primed = False
                self.tides += 1
        elif level >= place.SIPHON_CREST + slack:
            self.primed = can_start
            out += STANDPIPE_WEIR * math.pow(level - place.SIPHON_CREST - slack, 1.5)
        out = min(out, self.volume / minutes + inflow)
        self.volume = max(0.0, self.volume + (inflow - out) * minutes)
        return out
