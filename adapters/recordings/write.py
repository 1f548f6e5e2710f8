"""How are readings written to a file that can be read again? In long form, to the last digit."""

from __future__ import annotations

import contextlib
import gzip
import io
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import IO, NamedTuple

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.times import LAST_SECOND
from rules.block import Block, Counts, Flags, Times, concatenate
from rules.door import as_decimal, decimal_places
from rules.flags import Flag

_ROWS = 50_000
_FIRST = -62_135_596_800_000
_LAST = LAST_SECOND * 1000 + 999


class Batch(NamedTuple):
    """Readings of several points in order of time. which: int64[n], the place of the reading's point in the series."""

    times: Times
    which: NDArray[np.int64]
    values: Counts
    flags: Flags


def write_csv(
    path: Path, blocks: Iterable[Block], series: Mapping[str, tuple[str, Fraction]], *, with_flags: bool = False
) -> int:
    """As `write_stretches`, of one stretch, into CSV whatever the name."""
    return _write_beside(path, partial(_write_csv, stretches=(blocks,), series=series, with_flags=with_flags))


def write_stretches(
    path: Path,
    stretches: Iterable[Iterable[Block]],
    series: Mapping[str, tuple[str, Fraction]],
    *,
    with_flags: bool = False,
) -> int:
    """Write readings as `time,point,value,unit`, in order of time, then of `series`; gives the number of readings.

    stretches: the readings of spans that follow one another; one of them is in memory at a time. series: point ->
    (unit, resolution) of its counts, as in Recording.series. Missing readings have an empty value.
    with_flags: a fifth column `flag`, which reading the file passes over, since a replay judges readings anew.
    A path that ends in .parquet is Parquet, which the extra `fast` writes; all else is CSV, gzipped where it ends
    in .gz; always the same bytes for the same stretches. The file stands whole or not at all: it is
    written beside its place and moved there. Raises OSError where the disk refuses, and ValueError for a time outside
    the years 1 to 9999.
    """
    if path.suffix == ".parquet":
        from adapters.recordings.write_parquet import write_parquet

        return _write_beside(path, partial(write_parquet, stretches=stretches, series=series, with_flags=with_flags))
    return _write_beside(path, partial(_write_csv, stretches=stretches, series=series, with_flags=with_flags))


def batches(blocks: Iterable[Block], names: Sequence[str], rows: int) -> Iterator[Batch]:
    """The readings of a stretch in order of time, then of `names`, at most `rows` at a time.

    Raises ValueError for a time outside the years 1 to 9999.
    """
    parts: dict[str, list[Block]] = {point: [] for point in names}
    for part in blocks:
        parts[part.point].append(part)
    whole = [concatenate(point, listed) for point, listed in parts.items()]
    if not whole:
        return
    times = np.concatenate([part.times for part in whole])
    if len(times) and not _FIRST <= times.min() <= times.max() <= _LAST:
        raise ValueError("a time lies outside the years 1 to 9999")
    which = np.repeat(np.arange(len(whole)), [len(part) for part in whole])
    values = np.concatenate([part.values for part in whole])
    flags = np.concatenate([part.flags for part in whole])
    order = np.lexsort((which, times))
    for start in range(0, len(order), rows):
        some = order[start : start + rows]
        yield Batch(times[some], which[some], values[some], flags[some])


def _write_beside(path: Path, write: Callable[[Path, IO[bytes]], int]) -> int:
    beside = path.with_name(path.name + ".part")
    try:
        with beside.open("wb") as raw:
            count = write(path, raw)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
    return count


def _write_csv(
    path: Path,
    raw: IO[bytes],
    *,
    stretches: Iterable[Iterable[Block]],
    series: Mapping[str, tuple[str, Fraction]],
    with_flags: bool,
) -> int:
    names = list(series)
    units = [unit for unit, _ in series.values()]
    shows = [_shower(resolution) for _, resolution in series.values()]
    count = 0
    with contextlib.ExitStack() as stack:
        stream: IO[bytes] | gzip.GzipFile = raw
        if path.suffix == ".gz":
            stream = stack.enter_context(gzip.GzipFile(filename="", mode="wb", compresslevel=6, fileobj=raw, mtime=0))
        stream.write(b"time,point,value,unit,flag\n" if with_flags else b"time,point,value,unit\n")
        for batch in (batch for blocks in stretches for batch in batches(blocks, names, _ROWS)):
            written = np.datetime_as_string(batch.times.astype("datetime64[ms]"), unit="ms").tolist()
            missing = (batch.flags == Flag.MISSING).tolist()
            text = io.StringIO()
            ends = [f",{flag}\n" for flag in batch.flags.tolist()] if with_flags else ["\n"] * len(written)
            for when, which, value, gone, end in zip(
                written, batch.which.tolist(), batch.values.tolist(), missing, ends, strict=True
            ):
                shown = "" if gone else shows[which](value)
                text.write(f"{when}Z,{names[which]},{shown},{units[which]}{end}")
            stream.write(text.getvalue().encode("utf-8"))
            count += len(written)
    return count


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
