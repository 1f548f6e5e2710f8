"""Which readings stand in a table? Long form (`time,point,value`), or wide: `time` and a column a point."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.decoded import quote
from adapters.recordings.decimals import LONG, parse_decimals, parse_number
from adapters.recordings.fields import Column, Field, Repeating, Split
from adapters.recordings.gathered import Gathered, Rows
from adapters.recordings.instants import LocalTime, parse_instants
from adapters.recordings.recording import RecordingRefused
from rules.block import Times
from rules.errors import UnitError, ValueRefused
from rules.units import parse_unit

_HEADED = re.compile(r"(.*?)\s*\[(.*)\]")
_IGNORED = -1


def _place(path: Path, names: list[str], name: str) -> int:
    if names.count(name) != 1:
        found = "no column" if name not in names else "more than one column"
        shown = quote(",".join(names))
        raise RecordingRefused(
            f"{path}: {found} {name!r} in the header {shown}; "
            "it must be time,point,value[,unit], or time and a column a point"
        )
    return names.index(name)


class _Numbering(dict[bytes, int]):
    """Text -> number, counted up as texts are met."""

    def __missing__(self, key: bytes) -> int:
        self[key] = number = len(self)
        return number

    def codes(self, column: Field) -> NDArray[np.int64]:
        """The numbers of a column's texts."""
        if isinstance(column, Repeating):
            return self.codes(column.texts)[column.which]
        assert isinstance(column, Column)
        body = column.text.tobytes()
        starts = column.starts.tolist()
        ends = (column.starts + column.lengths).tolist()
        texts = [body[start:end] for start, end in zip(starts, ends, strict=True)]
        return np.fromiter(map(self.__getitem__, texts), dtype=np.int64, count=len(texts))


class LongTable:
    """Long form: the columns time, point, value and perhaps unit, in any order.

    A column `flag`, as an export may have, is passed over: readings are judged anew.
    """

    def __init__(self, path: Path, names: list[str], into: Gathered, local: LocalTime) -> None:
        self._into = into
        self._local = local
        self.fields = len(names)
        for name in names:
            if name not in ("time", "point", "value", "unit", "flag"):
                raise RecordingRefused(f"{path}: column {quote(name)} beside time, point, value, unit")
        self.time, self._point, self._value = (_place(path, names, name) for name in ("time", "point", "value"))
        self._unit = _place(path, names, "unit") if "unit" in names else None
        self.unwanted = {place for place, name in enumerate(names) if name == "flag"}
        self.numeric = {self._value}
        self._points = _Numbering()
        self._units = _Numbering()
        self._names: list[str | None] = []
        self._wanted: list[bool] = []
        self._unit_codes: list[int] = []
        self._no_unit = into.unit("", parse_unit)

    def take(self, found: Split) -> int:
        """Add the readings of a stretch of lines; gives how many lines it has."""
        faults = found.faults
        columns, lines = found.columns, found.lines
        times, reasons = _instants(found, self.time, self._local)
        faults.update((int(lines[row]), reason) for row, reason in reasons.items())
        sound = np.ones(len(lines), np.bool_)
        sound[list(reasons)] = False
        codes = self._points.codes(columns[self._point])
        self._learn(self._points)
        for code in np.flatnonzero([name is None for name in self._names]):
            for row in np.flatnonzero((codes == code) & sound):
                raw = columns[self._point].raw(int(row))
                faults[int(lines[row])] = f"{quote(raw)} is no name of a point" if raw else "no point"
            sound &= codes != code
        wanted = np.array(self._wanted, np.bool_)[codes] if len(codes) else np.empty(0, np.bool_)
        for name, count in zip(self._names, np.bincount(codes[sound & ~wanted]).tolist(), strict=False):
            if count:
                self._into.ignored[str(name)] += count
        keep = sound & wanted
        self._values(found.columns, times, codes, keep, lines, faults)
        for line in sorted(faults):
            self._into.bad(line, faults[line])
        return found.count

    def _learn(self, numbering: _Numbering) -> None:
        for key in list(numbering)[len(self._names) :]:
            try:
                name = key.decode("utf-8") or None
            except UnicodeDecodeError:
                name = None
            self._names.append(name)
            self._wanted.append(name is not None and self._into.wants(name))

    def _values(
        self,
        columns: Sequence[Field],
        times: NDArray[np.int64],
        codes: NDArray[np.int64],
        keep: NDArray[np.bool_],
        lines: NDArray[np.int64],
        faults: dict[int, str],
    ) -> None:
        whole = bool(keep.all())
        column = columns[self._value] if whole else columns[self._value].take(keep)
        mantissa, places = parse_decimals(column)
        if self._unit is None:
            unit = np.full(len(column), self._no_unit, np.int32)
        else:
            unit = self._unit_column(columns[self._unit] if whole else columns[self._unit].take(keep))
        rows = Rows(times[keep], mantissa, places, unit, lines[keep])
        good = _finish_long(column, rows, self._into, faults)
        codes = codes[keep][good]
        rows = rows.take(good)
        # Numbers of two bytes are sorted by radix, several times as fast.
        codes = codes.astype(np.uint16) if len(self._names) < 1 << 16 else codes
        order = np.argsort(codes, kind="stable")
        edges = np.concatenate(([0], np.cumsum(np.bincount(codes, minlength=len(self._names)))))
        for code, (start, end) in enumerate(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)):
            if start < end:
                self._into.add(str(self._names[code]), rows.take(order[start:end]))

    def _unit_column(self, column: Field) -> NDArray[np.int32]:
        codes = self._units.codes(column)
        for key in list(self._units)[len(self._unit_codes) :]:
            self._unit_codes.append(self._into.unit(key.decode("utf-8", "backslashreplace"), parse_unit))
        return np.array(self._unit_codes, np.int32)[codes] if len(codes) else np.empty(0, np.int32)


class WideTable:
    """Wide form: `time` and a column a point, with its unit in square brackets."""

    def __init__(self, path: Path, header: list[str], into: Gathered, local: LocalTime) -> None:
        self._into = into
        self._local = local
        self.fields = len(header)
        self.time = _place(path, [name.casefold() for name in header], "time")
        self._columns: list[tuple[int, str, int]] = []
        taken = set()
        if len(header) < 2:
            raise RecordingRefused(f"{path}: the header has no point beside time")
        for place, text in enumerate(header):
            if place == self.time:
                continue
            match = _HEADED.fullmatch(text)
            point, symbol = match.groups() if match else (text, "")
            if not point or point in taken:
                raise RecordingRefused(
                    f"{path}: column {place + 1} {'has no name' if not point else f'repeats {quote(point)}'}"
                )
            taken.add(point)
            if into.points is not None and point in into.points and symbol:
                try:
                    into.points[point].kind.accepts(symbol)
                except UnitError as error:
                    raise RecordingRefused(f"{path}: column {quote(text)}: {error}") from None
            self._columns.append((place, point, into.unit(symbol, parse_unit) if into.wants(point) else _IGNORED))
        self.unwanted = {place for place, _, unit in self._columns if unit == _IGNORED}
        self.numeric = {place for place, _, _ in self._columns} - self.unwanted

    def take(self, found: Split) -> int:
        """Add the readings of a stretch of lines; gives how many lines it has."""
        faults = found.faults
        times, reasons = _instants(found, self.time, self._local)
        faults.update((int(found.lines[row]), reason) for row, reason in reasons.items())
        good = np.ones(len(found.lines), np.bool_)
        good[list(reasons)] = False
        taken: list[tuple[str, Rows]] = []
        for place, point, unit in self._columns:
            if unit == _IGNORED:
                if len(found.lines):
                    self._into.ignored[point] += len(found.lines)
                continue
            column = found.columns[place]
            mantissa, places = parse_decimals(column)
            rows = Rows(times, mantissa, places, np.full(len(column), unit, np.int32), found.lines)
            good &= _finish_long(column, rows, self._into, faults, f"{point}: ")
            taken.append((point, rows))
        for point, rows in taken:
            self._into.add(point, rows if bool(good.all()) else rows.take(good))
        for line in sorted(faults):
            self._into.bad(line, faults[line])
        return found.count


def _instants(found: Split, time: int, local: LocalTime) -> tuple[Times, dict[int, str]]:
    if found.times is not None:
        return found.times, found.untimed
    column = found.columns[time]
    assert isinstance(column, Column)
    return parse_instants(column, local)


def _finish_long(
    column: Field, rows: Rows, into: Gathered, faults: dict[int, str], where: str = ""
) -> NDArray[np.bool_]:
    """Parse the values that need the slow way, in place; gives which rows are good, and adds to `faults`."""
    good = np.ones(len(column), np.bool_)
    for row in np.flatnonzero(rows.places == LONG):
        try:
            value = parse_number(column.string(int(row)))
        except ValueRefused as error:
            good[row] = False
            faults.setdefault(int(rows.lines[row]), f"{where}{error}")
        else:
            rows.mantissa[row] = len(into.long)
            into.long.append(value)
    return good
