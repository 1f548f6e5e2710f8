"""How many hours did an hourly series spend beyond a limit?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray


def hours_below(temperatures: FloatOrArray, limit: float) -> float:
    """Hours of an hourly series below a limit, the limit itself not counted [h].

    count(T < limit); temperatures and limit [degC], -50 to 60, rounded to 1e-6 K first. Common practice, no source.
    """
    return float(np.count_nonzero(np.round(temperatures, 6) < limit))


def hours_above(temperatures: FloatOrArray, limit: float) -> float:
    """Hours of an hourly series above a limit, the limit itself not counted [h].

    count(T > limit); temperatures and limit [degC], -50 to 60, rounded to 1e-6 K first. Common practice, no source.
    """
    return float(np.count_nonzero(np.round(temperatures, 6) > limit))


def leaf_wetness_hours(humidities: FloatOrArray, threshold: float = 90.0) -> float:
    """Hours in which leaves are likely wet, judged by the humidity of the air alone [h].

    count(RH >= threshold); humidities and threshold [%], 0 to 100, one an hour. The default 90 % is the usual constant
    of this method (from memory: Sentelhas and others 2008, Agric. For. Meteorol. 148). It knows nothing of dripping,
    spraying or a cold sky over the leaf.
    """
    return float(np.count_nonzero(np.round(humidities, 6) >= threshold))


_TEMPERATURES = Argument("temperatures", "degC", -50.0, 60.0, "temperatures, one an hour", is_list=True)
_LIMIT = Argument("limit", "degC", -50.0, 60.0, "the limit, itself not counted")

DERIVED = (
    Derived(
        name="hours_below",
        meaning="hours of an hourly temperature series below a limit",
        function=hours_below,
        arguments=(_TEMPERATURES, _LIMIT),
        unit="h",
        equation="count of hours with T < limit",
        source="common practice, no source",
    ),
    Derived(
        name="hours_above",
        meaning="hours of an hourly temperature series above a limit",
        function=hours_above,
        arguments=(_TEMPERATURES, _LIMIT),
        unit="h",
        equation="count of hours with T > limit",
        source="common practice, no source",
    ),
    Derived(
        name="leaf_wetness_hours",
        meaning="hours in which leaves are likely wet, judged by humidity alone",
        function=leaf_wetness_hours,
        arguments=(
            Argument("humidities", "%", 0.0, 100.0, "relative humidities, one an hour", is_list=True),
            Argument("threshold", "%", 0.0, 100.0, "humidity from which leaves count as wet", default=90.0),
        ),
        unit="h",
        equation="count of hours with RH >= threshold",
        source="the constant 90 % from memory: Sentelhas and others 2008 (Agric. For. Meteorol. 148)",
        note="Knows nothing of dripping, spraying or a cold sky over the leaf",
    ),
)
