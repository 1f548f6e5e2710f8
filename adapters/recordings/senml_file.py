"""Which readings stand in a file of SenML JSON (RFC 8428)?"""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

import numpy as np

from adapters.payloads.decoded import quote
from adapters.payloads.json_text import parse_json
from adapters.payloads.senml import Faulty, Record, resolve
from adapters.payloads.senml_units import parse_senml_unit
from adapters.recordings.decimals import LONG, MISSING, in_range
from adapters.recordings.gathered import Gathered, Rows
from adapters.recordings.opened import Opened
from adapters.recordings.recording import RecordingRefused
from rules.errors import ValueRefused


def read_senml(opened: Opened, into: Gathered) -> None:
    """Add what a pack holds; a point is called by its resolved name. Raises RecordingRefused for a faulty pack.

    Bad records count as bad lines, with their place in the pack (1 for the first). Times relative to now are bad:
    a recording has no now.
    """
    rows: dict[str, list[tuple[int, int, int, int, int]]] = defaultdict(list)
    try:
        for record in resolve(parse_json(opened.whole()), now=None):
            if isinstance(record, Faulty):
                into.bad(record.place, record.refusal.detail)
            elif not into.wants(record.name):
                into.ignored[record.name] += 1
            else:
                _take(record, into, rows)
    except ValueRefused as error:
        raise RecordingRefused(f"{opened.path}: no SenML: {error}") from None
    for point, found in rows.items():
        times, mantissa, places, units, lines = zip(*found, strict=True)
        into.add(
            point,
            Rows(
                np.array(times, np.int64),
                np.array(mantissa, np.int64),
                np.array(places, np.int8),
                np.array(units, np.int32),
                np.array(lines, np.int64),
            ),
        )


def _take(record: Record, into: Gathered, rows: dict[str, list[tuple[int, int, int, int, int]]]) -> None:
    value = record.value
    unit = into.unit(record.unit or "", parse_senml_unit)
    if isinstance(value, bool) and (into.points is None or into.points[record.name].quantity == "state"):
        value, unit = Decimal(value), into.unit("", parse_senml_unit)
    if record.time is None:
        into.bad(record.place, "no time; a recording needs a time in every record or a base time")
    elif not record.kind:
        into.bad(record.place, "a sum and no value")
    elif value is None:
        rows[record.name].append((record.time, 0, MISSING, unit, record.place))
    elif not isinstance(value, Decimal):
        into.bad(record.place, f"{quote(value)} is not a number")
    else:
        try:
            into.long.append(in_range(value))
        except ValueRefused as error:
            into.bad(record.place, str(error))
        else:
            rows[record.name].append((record.time, len(into.long) - 1, LONG, unit, record.place))
