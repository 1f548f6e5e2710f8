"""Where is the water of the loop, and how does it move? Tank, filter, beds with siphons, sump and pump.

Every step moves water between vessels by flows over the step; what leaves one enters another or is counted as lost,
so the sum over all vessels and losses stays the same but for rounding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from demo_replay import place
from demo_replay.physics.chance import Chance, Floats
from demo_replay.physics.siphon import Bed
from demo_replay.works import Works

STEP = 5  # s

LIP_WEIR = place.PUMP_FLOW / 1.2**1.5  # the lip passes the pump's flow at 1.2 cm over it
OVERFLOW_WEIR = 12.0
FILTER_PASS = place.PUMP_FLOW / 5.0**0.5  # a clean filter passes it at 5 cm of head
BACK_FLOW = 12.0  # L/min back through the pump, when its return pipe does not let air in
SHARES = (0.345, 0.33, 0.325)  # of each bed in what leaves the filter

RUNNING, THROTTLED, SUCKING_AIR, JAMMED = 0.42, 0.30, 0.22, 1.90  # A
AIR_PUMP = 0.16  # A
CUT_OUT_CYCLE, CUT_OUT_TRY = 240, 20  # s: a jammed pump tries for a while, then its thermal cut-out waits


@dataclass(frozen=True, slots=True)
class Loop:
    """Columns float64[n] over the water's steps. Levels cm, flows L/min, currents A, volumes L."""

    tank: Floats
    filter: Floats
    beds: tuple[Floats, ...]
    sump: Floats
    flow: Floats
    """Through the meter where the pump's water enters the tank."""
    to_beds: Floats
    to_sump: Floats
    """What falls into the sump from beds and overflow."""
    pump_current: Floats
    air_pump_current: Floats
    total: Floats
    """L in all vessels together, at the end of the step."""
    lost: Floats
    """L lost up to there, to evaporation and the floor."""
    spilled: Floats
    """Of these, L on the floor."""
    added: Floats
    """L run in from the tap up to there."""


def _weir(k: float, head: float) -> float:
    return k * math.pow(head, 1.5) if head > 0.0 else 0.0


def _pump_current(works: Works) -> Floats:
    """A over the steps, but for a pump that draws air: less when throttled, on and off with its cut-out when jammed."""
    powered, turns = works.of("pump") > 0.5, works.of("rotor") > 0.5
    free = np.minimum(works.of("intake"), works.of("valve"))
    jams = np.flatnonzero(~turns & np.concatenate(([True], turns[:-1])))
    step = np.arange(len(turns))
    since = step - jams[np.searchsorted(jams, step, "right") - 1] if len(jams) else step
    trying = since * STEP % CUT_OUT_CYCLE < CUT_OUT_TRY
    running = np.where(turns, THROTTLED + (RUNNING - THROTTLED) * free, np.where(trying, JAMMED, 0.0))
    return np.where(powered, running, 0.0)


def circulate(works: Works, evaporation: Floats, seed: int, water: float = place.WATER) -> Loop:
    """The loop over the steps of `works`, with `evaporation` (float64[n], L/min) taken from the sump.

    `water`: L in all vessels at the start, with the beds in different parts of their tide.
    Equations (levels h in cm, flows in L/min; coefficients invented, shapes common practice): lip and pipe mouth are
    weirs, q = k h^1.5; filter q = k sqrt(h), after Torricelli; beds as in physics/siphon.py; the pump gives 0.3 % more
    for each cm of sump level over 40, and raggedly less below its intake. Raises ValueError for too little `water`.
    """
    n = len(works.steps)
    minutes = STEP / 60.0
    able = place.PUMP_FLOW * works.of("intake") * works.of("valve") * (works.of("pump") * works.of("rotor") > 0.5)
    current = _pump_current(works)
    ragged = Chance(seed, "ragged").uniform(n, 0.3, 1.0)
    opened = np.array([works.of("bed inflow", b) * SHARES[b - 1] for b in range(1, place.BEDS + 1)])
    shares = (opened / np.maximum(opened.sum(axis=0), 1e-9)).T.tolist()
    starts = np.array([works.of("siphon start", b) > 0.5 for b in range(1, place.BEDS + 1)]).T.tolist()
    breaks = np.array([works.of("siphon break", b) > 0.5 for b in range(1, place.BEDS + 1)]).T.tolist()

    beds = [
        Bed(level * place.BED_AREA, Chance(seed, f"tide {b}").uniform(400, -0.2, 0.2).tolist())
        for b, level in enumerate((6.0, 12.5, 18.5), start=1)
    ]
    tank = (place.TANK_LIP + 1.2) * place.TANK_AREA
    filter_ = (place.FILTER_OUTLET + 5.0) * place.FILTER_AREA
    sump = water - tank - filter_ - sum(bed.volume for bed in beds)
    if sump < 0.0:
        raise ValueError(f"{water} L of water do not fill tank, filter and beds; give {water - sump:.0f} or more")
    brim = place.SUMP_RIM * place.SUMP_AREA
    lost = spilled = added = 0.0
    columns = np.empty((13, n))
    inputs = zip(
        able.tolist(), current.tolist(), ragged.tolist(), (works.of("pipe") > 0.5).tolist(),
        (works.of("breather") > 0.5).tolist(), works.of("filter").tolist(), works.leak.tolist(), evaporation.tolist(),
        works.topped_up.tolist(), shares, starts, breaks, strict=True,
    )  # fmt: skip
    for k, (could, draws, rag, whole, breathing, passing, leaking, drying, tap, share, start, stop) in enumerate(
        inputs
    ):
        tank_h, filter_h, sump_h = tank / place.TANK_AREA, filter_ / place.FILTER_AREA, sump / place.SUMP_AREA
        columns[:6, k] = tank_h, filter_h, beds[0].level, beds[1].level, beds[2].level, sump_h

        pumped = could * (1.0 + 0.003 * (sump_h - 40.0))
        if sump_h < place.SUMP_INTAKE and could > 0.0:
            pumped *= max(0.0, sump_h - 5.0) / (place.SUMP_INTAKE - 5.0) * rag
            draws = SUCKING_AIR * (0.5 + 0.7 * rag)
        pumped = min(pumped, sump / minutes)
        delivered = pumped if whole else 0.0
        back = BACK_FLOW if could == 0.0 and not breathing and tank_h > place.TANK_RETURN_PIPE else 0.0
        escaped = min(leaking, sump / minutes - pumped)
        dried = min(drying, sump / minutes - pumped - escaped)

        # A drowned lip passes only the difference, and no more than half of it in one step, so that it does not swing.
        head = tank_h - max(place.TANK_LIP, filter_h)
        over = min(_weir(LIP_WEIR, head), max(0.0, 0.5 * head * place.FILTER_AREA / minutes))
        overflow = _weir(OVERFLOW_WEIR, tank_h - place.TANK_OVERFLOW)
        head = max(0.0, filter_h - place.FILTER_OUTLET)
        fed = min(FILTER_PASS * passing * math.sqrt(head), head * place.FILTER_AREA / minutes)
        returned = overflow
        for b, bed in enumerate(beds):
            returned += bed.step(fed * share[b], minutes, can_start=start[b], can_break=stop[b])

        tank += (delivered - back - over - overflow) * minutes
        filter_ += (over - fed) * minutes
        sump += (back + returned + tap - pumped - escaped - dried) * minutes
        floor = (pumped - delivered + escaped) * minutes + max(0.0, sump - brim)
        sump = min(max(sump, 0.0), brim)  # rounding may leave a hair less than nothing
        spilled += floor
        added += tap * minutes
        lost += floor + dried * minutes
        columns[6:, k] = delivered, fed, returned, draws, lost, spilled, added
    inside = np.array([tank, filter_, sump, *(bed.volume for bed in beds)])
    return Loop(
        tank=columns[0],
        filter=columns[1],
        beds=(columns[2], columns[3], columns[4]),
        sump=columns[5],
        flow=columns[6],
        to_beds=columns[7],
        to_sump=columns[8],
        pump_current=columns[9],
        air_pump_current=AIR_PUMP * works.of("air pump"),
        total=_total(columns, float(inside.sum())),
        lost=columns[10],
        spilled=columns[11],
        added=columns[12],
    )


def _total(columns: Floats, last: float) -> Floats:
    """L in all vessels at the end of each step, from the levels at the start of the next."""
    areas = (place.TANK_AREA, place.FILTER_AREA, *[place.BED_AREA] * place.BEDS, place.SUMP_AREA)
    held = np.tensordot(areas, columns[:6], axes=1)
    return np.append(held[1:], last)
