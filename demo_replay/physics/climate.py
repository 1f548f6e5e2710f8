"""How warm and damp are the air, the floor, the soil and the water of the house?

One well-mixed air over four stores of heat (floor, root zone, ground store of the air loop, water), each a lumped
balance C dT/dt = sum of flows, as greenhouse texts write it; coefficients are invented so that plain days look like
days. Vapour likewise: what plants and water give off, less what leaks out and what condenses on the cover.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_replay import place
from demo_replay.physics.chance import Floats
from demo_replay.physics.stages import air_stages
from demo_replay.physics.weather import Outside
from demo_replay.works import Bools
from rules.derived.vapour import saturation_vapour_pressure

STEP = 30  # s

AIR_HEAT = 1206.0  # J/m3/K of air: 1.2 kg/m3 x 1005 J/kg/K
VAPOUR_GAS = 0.4615  # kPa m3/kg/K: the gas constant of water vapour
LATENT = 2.45e6  # J/kg
HEAT = {"air": 0.7e6, "floor": 3.5e6, "soil": 14.0e6, "store": 25.0e6, "water": 8.0e6}  # J/K

COVER = 3.2 * place.GLAZING  # W/K through the glazing: a twin-wall sheet
COVER_AT = 0.35  # how far the inner face of the cover is from outside to inside temperature
LIGHT_THROUGH = 0.62
SUN_TO_AIR, SUN_TO_FLOOR, SUN_TO_WATER = 0.45, 0.22, 0.025  # the rest goes into leaves, as vapour
AIR_FLOOR, FLOOR_SOIL, SOIL_DEEP, AIR_WATER, DEEP_STORE = 230.0, 60.0, 12.0, 38.0, 25.0  # W/K
DEEP = 10.5  # degC, ground below the reach of a day
LOOP_FLOW, LOOP_LEFT = 0.28, 0.25  # m3/s through the ground ducts; share of the difference that is left at their end
VENT_CHANGES, FAN_CHANGES = 14.0, 16.0  # an hour
FAN, LOOP_FAN = 0.92, 0.55  # A
HEATER, HEATER_CURRENT = 1500.0, 6.5  # W in the water and its A; its thermostat holds it near where the day began
LEAF_AREA = 40.0  # m2, half of it in the beds
LEAF_VAPOUR, SURFACE_VAPOUR, COVER_VAPOUR = (
    1.1e-5,
    6.5e-5,
    1.2e-3,
)  # kg/s/kPa: of a m2 of leaf, of all water, of the cover
LEAVES_SHUT, LEAVES_OPEN_AT = 0.1, 350.0  # share that leaves pass in the dark; W/m2 outside at which they are open
PPFD = 2.06  # umol/J of sun and sky: 0.45 of it is visible light of 4.57 umol/J

FIELD_CAPACITY = 31.0  # % by volume
ROOT_WATER = 40.0  # L for each % of soil moisture
WATERING = (7.5, 12.0, 24.0)  # hour of the day, minutes, L


@dataclass(frozen=True, slots=True)
class Start:
    """How a day begins, degC: air, water, soil, ground store; and soil moisture, %."""

    air: float
    water: float
    soil: float
    store: float
    moisture: float = 29.0


@dataclass(frozen=True, slots=True)
class Climate:
    """Columns float64[n] over the climate steps. degC, %, W/m2, L/min, A as the names say."""

    air: Floats
    low: Floats
    humidity: Floats
    light: Floats
    water: Floats
    soil: Floats
    moisture: Floats
    loop_outlet: Floats
    evaporation: Floats
    """L/min off tank and sump, and through the plants in the beds."""
    vents: Floats
    fan_current: Floats
    loop_current: Floats
    heater_current: Floats


@dataclass(frozen=True, slots=True)
class Drives:
    """What moves the air, over the climate steps: whether vents open and shut, and each fan turns, when told to."""

    opening: Bools
    shutting: Bools
    fan: Bools
    ground_fan: Bools


def climate(outside: Outside, hours: Floats, powered: Bools, start: Start, drives: Drives | None = None) -> Climate:
    """The house over the climate steps, given the weather, the local hour of day (float64[n]) and mains power.

    drives: what has failed of vents and fans; left out, nothing.

    Ground air: leaves the ducts at T_store + share (T_air - T_store), an exchanger of fixed effectiveness.
    Plants: E = leaf area x VPD x conductance, more in light. Water: E = k x area x (e_s(T_water) - e), after Dalton.
    Cover: condenses k x (e - e_s(T_cover)), T_cover between inside and outside. Without power, or stuck, vents stay as
    they are.
    """
    n = len(hours)
    whole = np.ones(n, np.bool_)
    drives = drives or Drives(whole, whole, whole, whole)
    columns = np.empty((13, n))
    stages = air_stages()
    air, floor, soil, store, water = start.air, start.air, start.soil, start.store, start.water
    vapour = 0.8 * _saturated(air)
    moisture, cold_pool, vents = start.moisture, 0.0, False
    inputs = zip(
        outside.temperature.tolist(), outside.vapour.tolist(), outside.sun.tolist(), outside.leakage.tolist(),
        hours.tolist(), powered.tolist(), drives.opening.tolist(), drives.shutting.tolist(), drives.fan.tolist(),
        drives.ground_fan.tolist(), strict=True,
    )  # fmt: skip
    for k, (out, out_vapour, sun, leakage, hour, power, opens, shuts, fan_turns, ground_fan_turns) in enumerate(inputs):
        saturated = _saturated(air)
        storing, giving = stages.store_heat.step(air, STEP), stages.give_heat.step(air, STEP)
        wanted, fanning = stages.vents.step(air, STEP), stages.fan.step(air, STEP) and power and fan_turns
        vents = wanted if power and (opens if wanted else shuts) else vents
        looping = (storing or giving) and power and ground_fan_turns
        changes = leakage + VENT_CHANGES * vents + FAN_CHANGES * (fanning and vents)
        moved = changes * place.AIR_VOLUME / 3600.0  # m3/s
        inside_sun = sun * LIGHT_THROUGH * place.FLOOR

        loop_out = store + LOOP_LEFT * (air - store) if looping else 0.9 * air + 0.1 * store
        ground = AIR_HEAT * LOOP_FLOW * (loop_out - air) if looping else 0.0
        leaves = (
            LEAF_AREA * LEAF_VAPOUR * max(0.0, saturated - vapour) * (LEAVES_SHUT + min(1.0, sun / LEAVES_OPEN_AT))
        )  # kg/s
        surface = SURFACE_VAPOUR * max(0.0, _saturated(water) - vapour)  # kg/s
        cover = out + COVER_AT * (air - out)
        condensed = COVER_VAPOUR * max(0.0, vapour - _saturated(cover))  # kg/s

        heater = HEATER if power and water < start.water - 0.2 else 0.0
        warm = (
            SUN_TO_AIR * inside_sun + COVER * (out - air) + AIR_HEAT * moved * (out - air) + ground
            + AIR_FLOOR * (floor - air) + AIR_WATER * (water - air) + LATENT * (0.6 * condensed - 0.6 * leaves)
        )  # fmt: skip
        air += warm * STEP / HEAT["air"]
        floor_heat = SUN_TO_FLOOR * inside_sun - AIR_FLOOR * (floor - air) - FLOOR_SOIL * (floor - soil)
        floor += floor_heat * STEP / HEAT["floor"]
        soil += (FLOOR_SOIL * (floor - soil) - SOIL_DEEP * (soil - DEEP)) * STEP / HEAT["soil"]
        store += (-ground - DEEP_STORE * (store - DEEP)) * STEP / HEAT["store"]
        wet = SUN_TO_WATER * inside_sun - AIR_WATER * (water - air) - LATENT * surface + heater
        water += wet * STEP / HEAT["water"]

        # Ideal gas: a kg of vapour in the house raises its pressure by R T / V.
        pressure = VAPOUR_GAS * (air + 273.15) / place.AIR_VOLUME
        vapour += (leaves + surface - condensed) * pressure * STEP - changes / 3600.0 * (vapour - out_vapour) * STEP
        vapour = min(max(vapour, 0.02), _saturated(air))

        still = 0.0 if fanning or vents else (0.25 if looping else 1.0)
        pool = still * max(0.0, 0.14 * (air - out)) if sun < 20.0 else -0.02 * still * (air - out)
        cold_pool += (pool - cold_pool) * STEP / 1200.0
        watered = WATERING[0] <= hour < WATERING[0] + WATERING[1] / 60.0
        gain = WATERING[2] / WATERING[1] * STEP / 60.0 if watered else 0.0
        drained = max(0.0, moisture - FIELD_CAPACITY) * ROOT_WATER * STEP / 14_400.0
        moisture += (gain - drained - 0.5 * leaves * STEP) / ROOT_WATER

        columns[:, k] = (
            air, air - cold_pool, 100.0 * vapour / _saturated(air), sun * LIGHT_THROUGH * PPFD, water, soil, moisture,
            loop_out, (surface + 0.5 * leaves) * 60.0, vents, FAN * fanning, LOOP_FAN * looping,
            HEATER_CURRENT * (heater > 0.0),
        )  # fmt: skip
    return Climate(*columns)


def _saturated(temperature: float) -> float:
    return float(saturation_vapour_pressure(temperature))
