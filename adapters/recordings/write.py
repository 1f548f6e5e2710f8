"""How are readings written to a file that can be read again? CSV in long form, to the last digit."""

from __future__ import annotations

import gzip
import io
import os
from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import IO

import numpy as np

from adapters.payloads.times import LAST_SECOND
from rules.block import Block, concatenate
from rules.door import as_decimal, decimal_places
from rules.flags import Flag

_ROWS = 50_000
_FIRST = -62_135_596_800_000
_LAST = LAST_SECOND * 1000 + 999


def write_csv(
    path: Path, blocks: Iterable[Block], series: Mapping[str, tuple[str, Fraction]], *, with_flags: bool = False
) -> int:
    """Write readings as `time,point,value,unit`, in order of time, then of `series`; gives the number of readings.

    series: point -> (unit, resolution) of its counts, as in Recording.series. Missing readings have an empty value.
    with_flags: a fifth column `flag`, which reading the file passes over, since a replay judges readings anew.
    A path that ends in .gz is gzipped, always to the same bytes for the same readings. The file stands whole or
    not at all: it is written beside its place and moved there. Raises OSError where the disk
    refuses, and ValueError for a time outside the years 1 to 9999.
    """
    parts: dict[str, list[Block]] = {point: [] for point in series}
    for part in blocks:
        parts[part.point].append(part)
    whole = [concatenate(point, listed) for point, listed in parts.items()]
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("wb") as raw:
            if path.suffix == ".gz":
                with gzip.GzipFile(filename="", mode="wb", compresslevel=6, fileobj=raw, mtime=0) as packed:
                    count = _write(packed, whole, series, with_flags)
            else:
                count = _write(raw, whole, series, with_flags)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
    return count


def _write(
    stream: IO[bytes] | gzip.GzipFile, whole: list[Block], series: Mapping[str, tuple[str, Fraction]], with_flags: bool
) -> int:
    stream.write(b"time,point,value,unit,flag\n" if with_flags else b"time,point,value,unit\n")
    times = np.concatenate([part.times for part in whole]) if whole else np.empty(0, np.int64)
    if len(times) and not _FIRST <= times.min() <= times.max() <= _LAST:
        raise ValueError("a time lies outside the years 1 to 9999")
    owner = np.repeat(np.arange(len(whole)), [len(part) for part in whole])
    values = np.concatenate([part.values for part in whole]) if whole else np.empty(0, np.int64)
    flags = np.concatenate([part.flags for part in whole]) if whole else np.empty(0, np.uint8)
    missing = flags == Flag.MISSING
    order = np.lexsort((owner, times))
    names = [part.point for part in whole]
    units = [series[name][0] for name in names]
    shows = [_shower(series[name][1]) for name in names]
    for start in range(0, len(order), _ROWS):
        rows = order[start : start + _ROWS]
        written = np.datetime_as_string(times[rows].astype("datetime64[ms]"), unit="ms").tolist()
        text = io.StringIO()
        ends = [f",{flag}\n" for flag in flags[rows].tolist()] if with_flags else ["\n"] * len(rows)
        for when, which, value, gone, end in zip(
            written, owner[rows].tolist(), values[rows].tolist(), missing[rows].tolist(), ends, strict=True
        ):
            shown = "" if gone else shows[which](value)
            text.write(f"{when}Z,{names[which]},{shown},{units[which]}{end}")
        stream.write(text.getvalue().encode("utf-8"))
    return len(order)


def _shower(resolution: Fraction) -> Callable[[int], str]:
    """What shows counts of a resolution as decimals."""
    places = decimal_places(resolution)
    step = resolution * 10**places
    if step.denominator != 1 or not places:
        return lambda counts: f"{as_decimal(counts, resolution):f}"
    factor, unit = step.numerator, int(10**places)

    def show(counts: int) -> str:
        whole, part = divmod(abs(counts) * factor, unit)
        return f"{'-' if counts < 0 else ''}{whole}.{part:0{places}d}"

    return show
