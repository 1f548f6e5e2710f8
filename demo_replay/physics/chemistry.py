"""How much oxygen and carbon dioxide is in the water, and what is its pH?

Tank and sump are each well mixed. Gas moves between water and air in proportion to what is missing from saturation
(kLa), fish and slime use oxygen and give off carbon dioxide, algae do both with the light. Rates are invented within
the spans of common practice, but where a source is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from demo_replay import place
from demo_replay.physics.chance import Floats
from rules.derived.oxygen import oxygen_saturation
from rules.derived.pressure import pressure_at_altitude

STEP = 30  # s

AIR_STONES, STILL_SURFACE = 0.21, 0.05  # 1/h at 20 degC, in the tank
SIPHON_GAIN = 0.45  # share of the missing oxygen that water picks up in a bed and its siphon
WARMER = 1.024  # a degree: how gas transfer grows with temperature (common practice in water treatment)
FISH_AT_REST = 158.0  # mg O2 per kg fish and hour at 24 degC; 200 is a round figure for tilapia
FISH_WARMER = 1.06  # a degree
FEED_LASTS = 5.0  # h
SLIME, BED_SLIME = 0.25, 0.5  # mg/L/h in the tank; g/h in the beds
CARBON_PER_OXYGEN = 0.9 / 32.0  # mmol CO2 for each mg O2 breathed
STRIPPED = 0.35  # carbon dioxide leaves at this share of oxygen's rate: bubbles fill up with it
CARBON_IN_AIR = 0.014  # mmol/L at balance with the air
PK1 = 6.35  # first dissociation of carbonic acid at 25 degC


@dataclass(frozen=True, slots=True)
class Life:
    """What lives in the water on a kind of day: algae (1 is plain, 10 a bloom), feeding hours, alkalinity (mmol/L)."""

    algae: float = 1.0
    splash: float = 0.68
    """Share of the missing oxygen that the return picks up; little where its spout hangs under water."""
    rot: float = 0.0
    """mg/L/h that a dying bloom's remains come to use by the end of a long night; light ends it within the hour."""
    feeds: tuple[float, ...] = (8.5, 13.0, 17.5)
    alkalinity: float = 0.95
    alkalinity_used: float = 0.1
    """mmol/L a day that nitrification takes."""


@dataclass(frozen=True, slots=True)
class Chemistry:
    """Columns float64[n] over the steps: oxygen in the tank mg/L, pH."""

    oxygen: Floats
    ph: Floats


def _fed(hours: Floats, feeds: tuple[float, ...]) -> Floats:
    """How much more fish breathe after their feeds: up to 0.3 for each, growing over 1.5 h and gone after 5 h."""
    more = np.zeros(len(hours))
    for feed in feeds:
        since = hours - feed
        more += np.interp(since, [0.0, 1.5, FEED_LASTS], [0.0, 0.3, 0.0], left=0.0, right=0.0)
    return more


def chemistry(temperature: Floats, light: Floats, flow: Floats, stones: Floats, hours: Floats, life: Life) -> Chemistry:
    """Oxygen and pH over the steps.

    temperature: water degC; light: ppfd in the house; flow: L/min into the tank; stones: 0 to 1, how far the air pump
    works; hours: local hours since the first midnight, growing over the whole recording. All float64[n].
    pH = pK1 + log10(alkalinity / CO2), with alkalinity as bicarbonate. Fish breathe C / (C + 0.7) of their rate.
    """
    n = len(temperature)
    saturation = np.asarray(
        oxygen_saturation(temperature, float(pressure_at_altitude(place.ALTITUDE))), dtype=np.float64
    )
    transfer = WARMER ** (temperature - 20.0)
    kla = ((AIR_STONES * stones + STILL_SURFACE) * transfer).tolist()
    day_hours = hours % 24.0
    fish = place.FISH * FISH_AT_REST / (place.TANK_LIP * place.TANK_AREA)  # mg/L/h
    breathing = (fish * FISH_WARMER ** (temperature - 24.0) * (1.0 + _fed(day_hours, life.feeds))).tolist()
    algae_gain = (life.algae * 0.55 * light / (light + 250.0)).tolist()  # Monod in light
    algae_use = 0.16 * life.algae
    turnover = (flow * 60.0 / (place.TANK_LIP * place.TANK_AREA)).tolist()  # 1/h
    sump_volume = 350.0 + 225.0
    alkalinity = (life.alkalinity - life.alkalinity_used * (hours - hours[0]) / 24.0).tolist()
    columns = np.empty((2, n))
    oxygen = sump = float(saturation[0]) - 2.0
    carbon = sump_carbon = 0.14
    step = STEP / 3600.0
    dark = 0.0
    for k, full in enumerate(saturation.tolist()):
        dark = min(1.0, dark + step / 8.0) if light[k] < 5.0 else dark * (1.0 - step)
        use = (breathing[k] * 1.1 + life.rot * dark) * oxygen / (oxygen + 0.7) + SLIME + algae_use
        rate = turnover[k]
        come = sump + life.splash * (full - sump)
        change = rate * (come - oxygen) + kla[k] * (full - oxygen) + algae_gain[k] - use
        through = rate * place.TANK_LIP * place.TANK_AREA / sump_volume
        beds_use = BED_SLIME * 1000.0 / sump_volume * sump / (sump + 0.7)
        sump_change = through * (oxygen + SIPHON_GAIN * (full - oxygen) - sump) - beds_use + 0.1 * (full - sump)
        made = CARBON_PER_OXYGEN * (use - algae_gain[k])
        lose = STRIPPED * (kla[k] + life.splash * rate)
        carbon_change = rate * (sump_carbon - carbon) + made - lose * (carbon - CARBON_IN_AIR)
        sump_made = CARBON_PER_OXYGEN * beds_use
        sump_lose = STRIPPED * (0.1 + SIPHON_GAIN * through)
        sump_carbon_change = through * (carbon - sump_carbon) + sump_made - sump_lose * (sump_carbon - CARBON_IN_AIR)
        oxygen = max(0.05, oxygen + change * step)
        sump = max(0.05, sump + sump_change * step)
        carbon = max(0.004, carbon + carbon_change * step)
        sump_carbon = max(0.004, sump_carbon + sump_carbon_change * step)
        columns[0, k] = oxygen
        columns[1, k] = PK1 + math.log10(alkalinity[k] / carbon)
    return Chemistry(columns[0], columns[1])
