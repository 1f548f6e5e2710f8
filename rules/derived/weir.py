"""How much water flows over a V-notch, judged by its level?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray

_GRAVITY = 9.80665
_FOOT = 0.3048


def v_notch_flow(level: FloatOrArray, angle: FloatOrArray = 90.0) -> FloatOrArray:
    """Flow over a thin-plate V-notch weir that falls free [L/min].

    Q = 8/15 C sqrt(2 g) tan(a / 2) (h + k)^(5/2); C = 0.607165 - 8.74467e-4 a + 6.10393e-6 a^2;
    k = 0.3048 (0.01449026 - 3.39555e-4 a + 3.29819e-6 a^2 - 1.06215e-8 a^3) m.
    level h of the water above the bottom of the notch, read upstream where it is still level [m], 0.06 to 0.6; notch
    angle a [deg], 20 to 100. Source: Kindsvater and Shen's method, as in ISO 1438; fitted coefficients from memory.
    Under 0.06 m the sheet of water clings to the plate: for a small flow cut a narrow notch.
    """
    coefficient = 0.607165052 - 8.74466963e-4 * angle + 6.10393334e-6 * angle**2
    correction = _FOOT * (0.0144902648 - 3.3955535e-4 * angle + 3.29819003e-6 * angle**2 - 1.06215442e-8 * angle**3)
    half = np.tan(np.deg2rad(angle) / 2.0)
    cubic_metres = 8.0 / 15.0 * coefficient * (2.0 * _GRAVITY) ** 0.5 * half * (level + correction) ** 2.5
    flow: FloatOrArray = cubic_metres * 60000.0
    return flow


DERIVED = (
    Derived(
        name="v_notch_flow",
        meaning="flow over a thin-plate V-notch weir",
        function=v_notch_flow,
        arguments=(
            Argument("level", "m", 0.06, 0.6, "level of the water above the bottom of the notch, read upstream"),
            Argument("angle", "deg", 20.0, 100.0, "angle of the notch", default=90.0),
        ),
        unit="L/min",
        equation=(
            "Q = 8/15 C sqrt(2 g) tan(a/2) (h + k)^(5/2); C = 0.607165 - 8.74467e-4 a + 6.10393e-6 a^2; "
            "k = 0.3048 (0.01449026 - 3.39555e-4 a + 3.29819e-6 a^2 - 1.06215e-8 a^3) m"
        ),
        source="Kindsvater and Shen's method, as in ISO 1438; fitted coefficients from memory",
        note="The water must fall free; for a small flow cut a narrow notch, as under 0.06 m it clings to the plate",
        result_quantity="flow",
    ),
)
