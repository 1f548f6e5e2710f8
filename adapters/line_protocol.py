"""How is a reading written in the line protocol of the InfluxDB v2 write API?

`reading,point=tank.temperature,quantity=water_temperature,site=valley,unit=degC value=27.100,flag=1i 1775174400000`:
the value as the decimal that was stored, the flag of QARTOD beside it, the time in ms UTC. A missing reading has a flag
and no value.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from rules.block import Counts, Flags, Times
from rules.door import as_decimal, decimal_places
from rules.flags import Flag


def lines(tags: Mapping[str, str], resolution: Fraction, times: Times, counts: Counts, flags: Flags) -> list[str]:
    """One line a reading; times int64[n] ms UTC, counts int64[n] of `resolution`, flags uint8[n]; no empty tags.

    The value is exact for every resolution with at most 12 decimal places; others are shown with 12.
    """
    head = ",".join(["reading", *(f"{key}={_escaped(tags[key])}" for key in sorted(tags) if tags[key])])
    values = decimals(counts.tolist(), resolution)
    return [
        f"{head} flag={flag}i {time}" if flag == Flag.MISSING else f"{head} value={value},flag={flag}i {time}"
        for time, value, flag in zip(times.tolist(), values, flags.tolist(), strict=True)
    ]


def decimals(counts: list[int], resolution: Fraction) -> list[str]:
    """Counts as decimal text with just the places that the resolution has."""
    places = decimal_places(resolution)
    last_place = resolution * 10**places
    if last_place.denominator != 1:
        return [f"{as_decimal(count, resolution):f}" for count in counts]
    step, one = last_place.numerator, 10**places
    if not places:
        return [str(count * step) for count in counts]
    whole = ((count, abs(count) * step) for count in counts)
    return [f"{'-' if count < 0 else ''}{size // one}.{size % one:0{places}d}" for count, size in whole]


def _escaped(text: str) -> str:
    for sign in ("\\", ",", "=", " "):
        text = text.replace(sign, f"\\{sign}")
    return text.replace("\n", " ")
