"""What do the columns of a Parquet file hold: which texts, which decimals, which instants?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.times import LAST_SECOND
from adapters.recordings.decimals import LONG, MISSING, parse_decimals
from adapters.recordings.fields import PADDING, Column, Mask, Numbers, Repeating, trimmed
from adapters.recordings.instants import LocalTime, milliseconds, parse_instants
from adapters.recordings.recording import RecordingRefused
from rules.block import Times

_LARGEST = 10**18
_MOST_PLACES = 18
_PER_SECOND = {"s": 0, "ms": 3, "us": 6, "ns": 9}
_FIRST_SECOND = -62_135_596_800


def texts(array: Any) -> Repeating:
    """A column of text, plain or already in a dictionary; null is the empty text. Raises RecordingRefused."""
    import pyarrow as pa

    kind = array.type.value_type if pa.types.is_dictionary(array.type) else array.type
    if not (_is_text(kind) or pa.types.is_null(kind)):
        raise RecordingRefused(f"it holds {array.type} where text is wanted; write it as such")
    return _repeating(array.cast(pa.string()))


def numbers(array: Any) -> Repeating | Numbers:
    """A column of numbers, or of text that writes numbers; null is missing. Raises RecordingRefused.

    A float is the shortest decimal that reads as it, in its own width; a decimal has the places of its column.
    """
    import pyarrow as pa

    kind = array.type.value_type if pa.types.is_dictionary(array.type) else array.type
    if _is_text(kind) or pa.types.is_null(kind):
        return _repeating(array.cast(pa.string()))
    if array.type is not kind:
        array = array.cast(kind)
    if pa.types.is_boolean(kind):
        array = array.cast(pa.int8())
    elif pa.types.is_floating(kind):
        return _floats(array)
    elif pa.types.is_decimal(kind):
        exact = _decimals(array)
        return _repeating(array.cast(pa.string())) if exact is None else exact
    elif not pa.types.is_integer(kind):
        raise RecordingRefused(
            f"it holds {array.type} where numbers are wanted; write them as decimals, floats or text"
        )
    try:
        whole = array.cast(pa.int64()).fill_null(0).to_numpy()
    except pa.ArrowInvalid:
        return _repeating(array.cast(pa.string()))
    if bool(((whole >= _LARGEST) | (whole <= -_LARGEST)).any()):
        return _repeating(array.cast(pa.string()))
    return Numbers(whole, np.where(_missing(array), np.int8(MISSING), np.int8(0)))


def instants(array: Any, local: LocalTime) -> tuple[Times, dict[int, str]]:
    """(ms UTC int64[n], row -> reason where there is no time): timestamps of any unit, RFC 3339 text, epoch seconds.

    A timestamp without a time zone is in the site's. Parts of a millisecond are rounded half to even. Raises
    RecordingRefused.
    """
    import pyarrow as pa

    kind = array.type.value_type if pa.types.is_dictionary(array.type) else array.type
    if array.type is not kind:
        array = array.cast(kind)
    if not pa.types.is_timestamp(kind):
        if not (_is_text(kind) or pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
            raise RecordingRefused(
                f"it holds {array.type} where times are wanted; write timestamps, text or epoch seconds"
            )
        return parse_instants(_column(array.cast(pa.string()).fill_null("")), local)
    places = _PER_SECOND[kind.unit]
    found = array.cast(pa.int64()).fill_null(0).to_numpy()
    seconds = found // 10**places
    outside = (seconds < _FIRST_SECOND) | (seconds > LAST_SECOND)
    found = np.where(outside, 0, found)
    times = milliseconds(found, np.full(len(found), places, np.int64))
    if kind.tz is None:
        times = times - local.offsets(np.where(outside, 0, seconds)) * 1000
    faults = {int(row): "a time outside the years 1 to 9999" for row in np.flatnonzero(outside)}
    faults.update((int(row), "no time") for row in np.flatnonzero(_missing(array)))
    return times, faults


def _is_text(kind: Any) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def _missing(array: Any) -> Mask:
    found: Mask = array.is_null().to_numpy(zero_copy_only=False)
    return found


def _column(array: Any) -> Column:
    """The texts of an array of strings without nulls, without the blanks around them."""
    _, offsets, data = array.buffers()
    edges = np.frombuffer(offsets, np.int32)[array.offset : array.offset + len(array) + 1].astype(np.int64)
    text = np.frombuffer((b"" if data is None else data.to_pybytes()) + bytes(PADDING), np.uint8)
    return trimmed(text, edges[:-1], edges[1:])


def _repeating(array: Any) -> Repeating:
    found = array.dictionary_encode(null_encoding="encode")
    return Repeating(_column(found.dictionary.fill_null("")), found.indices.to_numpy())


def _floats(array: Any) -> Numbers | Repeating:
    import pyarrow as pa

    found = array.dictionary_encode(null_encoding="encode")
    written = Repeating(_column(found.dictionary.cast(pa.string()).fill_null("")), found.indices.to_numpy())
    mantissa, places = parse_decimals(written.texts)
    if bool((places == LONG).any()):
        return written
    return Numbers(mantissa[written.which], places[written.which])


def _decimals(array: Any) -> Numbers | None:
    """None where a value has more digits than a whole number of eight bytes can hold."""
    import pyarrow as pa

    scale = array.type.scale
    if not 0 <= scale <= _MOST_PLACES:
        return None
    try:
        wide = array.cast(pa.decimal128(38, scale))
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        return None
    pairs: NDArray[np.int64] = np.frombuffer(wide.buffers()[1], np.int64)
    pairs = pairs[2 * wide.offset : 2 * (wide.offset + len(wide))].reshape(-1, 2)
    gone = _missing(array)
    low = np.where(gone, 0, pairs[:, 0])
    high = np.where(gone, 0, pairs[:, 1])
    if bool(((high != low >> 63) | (low >= _LARGEST) | (low <= -_LARGEST)).any()):
        return None
    return Numbers(low, np.where(gone, np.int8(MISSING), np.int8(scale)))
