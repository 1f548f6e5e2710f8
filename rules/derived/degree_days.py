"""How much warmth for growth did a day bring?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray, Requirement


def degree_days(
    maximum: FloatOrArray,
    minimum: FloatOrArray,
    base: FloatOrArray,
    method: FloatOrArray = 1,
    cutoff: FloatOrArray = np.inf,
) -> FloatOrArray:
    """Growing degree days of one day [degC d].

    (Tmax + Tmin) / 2 - base, where method 1 lifts the mean to the base, and method 2 lifts Tmax and Tmin to it each
    before the mean is taken. They differ when Tmin is below the base. A cutoff lowers the mean (1) or each (2) to it.
    maximum, minimum [degC], -50 to 60; base [degC], -10 to 40; cutoff [degC], above the base, none by default.
    Source: McMaster & Wilhelm 1997 (Agric. For. Meteorol. 87:291). Raises ValueError for another method.
    """
    if not np.all(np.isin(method, (1, 2))):
        raise ValueError(f"method {method} of degree days is not known; 1 or 2")
    of_mean = np.clip((maximum + minimum) / 2.0, base, cutoff) - base
    of_each = (np.clip(maximum, base, cutoff) + np.clip(minimum, base, cutoff)) / 2.0 - base
    values: FloatOrArray = np.where(np.equal(method, 1), of_mean, of_each)[()]
    return values


DERIVED = (
    Derived(
        name="degree_days",
        meaning="growing degree days of one day",
        function=degree_days,
        arguments=(
            Argument("maximum", "degC", -50.0, 60.0, "highest temperature of the day"),
            Argument("minimum", "degC", -50.0, 60.0, "lowest temperature of the day"),
            Argument("base", "degC", -10.0, 40.0, "temperature under which the crop does not grow"),
            Argument("method", "1", 1.0, 2.0, "1 lifts the mean to the base, 2 each extreme", 1.0, choices=(1.0, 2.0)),
            Argument("cutoff", "degC", -10.0, 60.0, "temperature above which growth gains no more", optional=True),
        ),
        unit="degC d",
        equation=(
            "(Tmax + Tmin)/2 - base; method 1: the mean is lifted to base (and lowered to cutoff); method 2: Tmax and "
            "Tmin are, each"
        ),
        source="McMaster & Wilhelm 1997 (Agric. For. Meteorol. 87:291)",
        requirements=(
            Requirement("maximum at or above minimum", lambda given: given["maximum"] >= given["minimum"]),
            Requirement("cutoff above base", lambda given: given.get("cutoff", np.inf) > given["base"]),
        ),
    ),
)
