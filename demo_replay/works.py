"""What works and what has failed, step by step?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from demo_replay import place
from demo_replay.physics.chance import Floats

Bools = NDArray[np.bool_]

Part = Literal[
    "home mains",  # power of the whole property
    "mains",  # power of the glasshouse
    "pump",  # the pump has power and turns
    "rotor",  # free to turn
    "intake",  # how free the pump's intake is, 0 to 1
    "valve",  # how far the valve after the pump is open, 0 to 1
    "pipe",  # the delivery pipe is whole
    "breather",  # the return pipe lets air in when the pump stops
    "air pump",
    "filter",  # how free the solids filter is, 0 to 1
    "bed inflow",  # how far the valve of a bed is open, 0 to 1
    "siphon start",  # the siphon of a bed can start
    "siphon break",  # and can break
    "sump",  # the sump holds water
    "top-up",  # nothing runs into the sump from the tap
    "vents opening",  # they open when they are told to
    "vents shutting",  # and shut
    "fan",  # the exhaust fan turns
    "ground fan",  # the fan of the ground loop turns
]

PER_BED = ("bed inflow", "siphon start", "siphon break")


@dataclass(frozen=True, slots=True)
class Failure:
    """A part that fails from `start` to `end` (hours after local midnight of the first day).

    `left`: what is left of its working at the end of the span (0 none, 1 all), reached at once, or steadily where
    `creeping`; `bed`: which bed, 1 to 3, where the part is a bed's; `leak`: L/min lost, for the sump, or run in,
    for the top-up.
    """

    part: Part
    start: float
    end: float
    left: float = 0.0
    creeping: bool = False
    bed: int = 0
    leak: float = 0.0

    def shifted(self, hours: float) -> Failure:
        """The same failure, `hours` later."""
        return replace(self, start=self.start + hours, end=self.end + hours)


@dataclass(frozen=True, slots=True)
class Works:
    """Columns over the water's steps: 1 where a part works fully, 0 where not at all; float64[n] each."""

    parts: dict[str, Floats]
    leak: Floats
    """L/min that the sump loses."""
    topped_up: Floats
    """L/min that run into it from the tap."""
    steps: NDArray[np.int64]
    """Times of the steps, ms UTC."""

    def of(self, part: Part, bed: int = 0) -> Floats:
        """How far `part` (of `bed`) works at each step."""
        return self.parts[f"{part} {bed}" if part in PER_BED else part]


def works(times: NDArray[np.int64], midnight: int, failures: Sequence[Failure]) -> Works:
    """What works at each of `times` (int64[n], ms UTC), given failures counted from `midnight` (ms UTC).

    Without mains nothing turns, and without the property's mains there is none in the glasshouse.
    """
    hours = (times - midnight) / 3_600_000
    parts = {name: np.ones(len(times)) for name in get_args(Part) if name not in PER_BED}
    parts |= {f"{name} {bed}": np.ones(len(times)) for name in PER_BED for bed in range(1, place.BEDS + 1)}
    leak, topped_up = np.zeros(len(times)), np.zeros(len(times))
    for failure in failures:
        span = (hours >= failure.start) & (hours < failure.end)
        if failure.leak:
            (topped_up if failure.part == "top-up" else leak)[span] += failure.leak
            continue
        name = f"{failure.part} {failure.bed}" if failure.part in PER_BED else failure.part
        far = (hours - failure.start) / (failure.end - failure.start) if failure.creeping else np.ones(len(times))
        parts[name] = np.where(span, np.minimum(parts[name], 1.0 - (1.0 - failure.left) * far), parts[name])
    parts["mains"] = np.minimum(parts["mains"], parts["home mains"])
    parts["pump"] = np.minimum(parts["pump"], parts["mains"])
    parts["air pump"] = np.minimum(parts["air pump"], parts["mains"])
    return Works(parts, leak, topped_up, times)
