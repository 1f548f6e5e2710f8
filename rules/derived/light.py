"""How much light for growth did a day bring?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray


def light_integral(ppfd: FloatOrArray, hours: FloatOrArray) -> FloatOrArray:
    """Daily light integral of a steady light [mol/m2/d].

    PPFD h 3600 / 1e6; ppfd [umol/m2/s], 0 to 3000; hours of it in a day [h], 0 to 24. A definition; no source needed.
    """
    return ppfd * hours * 3600.0 / 1e6


def light_sum(ppfd: FloatOrArray, interval: float) -> float:
    """Light that a series of readings adds up to, by trapezoids [mol/m2].

    interval (sum - (first + last) / 2) / 1e6; ppfd [umol/m2/s], 0 to 3000, one every interval [s], 1 to 86400.
    One reading alone spans no time and gives 0. A definition; no source needed.
    """
    readings = np.atleast_1d(np.asarray(ppfd, dtype=np.float64))
    if readings.size < 2:
        return 0.0
    return float((np.sum(readings) - (readings[0] + readings[-1]) / 2.0) * interval / 1e6)


DERIVED = (
    Derived(
        name="light_integral",
        meaning="daily light integral of a steady light",
        function=light_integral,
        arguments=(
            Argument("ppfd", "umol/m2/s", 0.0, 3000.0, "photosynthetic photon flux density"),
            Argument("hours", "h", 0.0, 24.0, "hours of it in a day"),
        ),
        unit="mol/m2/d",
        equation="DLI = PPFD h 3600/1e6",
        source="definition",
    ),
    Derived(
        name="light_sum",
        meaning="light that evenly spaced readings of a span add up to",
        function=light_sum,
        arguments=(
            Argument("ppfd", "umol/m2/s", 0.0, 3000.0, "photosynthetic photon flux density", is_list=True),
            Argument("interval", "s", 1.0, 86400.0, "time from one reading to the next"),
        ),
        unit="mol/m2",
        equation="interval (sum - (first + last)/2)/1e6",
        source="definition, by the trapezoid rule",
    ),
)
