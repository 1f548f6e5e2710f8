"""Which decimals stand in a column of text, and which counts are they? Whole numbers all the way, no float."""

from __future__ import annotations

import math
import re
from decimal import Decimal, InvalidOperation

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.decoded import quote
from adapters.recordings.fields import Field, Mask, Numbers, Repeating
from rules.block import Counts
from rules.door import LARGEST_COUNT, Door
from rules.errors import ValueRefused

LONG = -1
"""In `places`: the text needs the slow way (an exponent, more than 18 digits, or no number at all)."""
MISSING = -2
"""In `places`: the field is empty."""

_DIGITS = 18
_WIDEST = 24
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def parse_decimals(column: Field) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
    """(mantissa int64[n], places int8[n]) with value = mantissa / 10^places, or places LONG or MISSING."""
    if isinstance(column, Numbers):
        return column.mantissa.copy(), column.places
    if isinstance(column, Repeating):
        whole, point = parse_decimals(column.texts)
        return whole[column.which], point[column.which]
    count = len(column)
    mantissa = np.zeros(count, np.int64)
    places = np.zeros(count, np.int8)
    digits = np.zeros(count, np.int8)
    dotted = np.zeros(count, np.bool_)
    strange = column.lengths > _WIDEST
    negative = np.zeros(count, np.bool_)
    for place in range(min(_WIDEST, int(column.lengths.max(initial=0)))):
        byte = column.at(place)
        digit = byte - np.uint8(48)  # wraps below "0", so that one comparison tells a digit
        is_digit = digit <= 9
        if place == 0:
            negative = byte == 45
            rest = ~(is_digit | negative | (byte == 43) | (byte == 46) | (byte == 0))
        else:
            rest = ~(is_digit | (byte == 46) | (byte == 0))
        strange |= rest
        mantissa = np.where(is_digit, mantissa * 10 + digit, mantissa)
        digits += is_digit
        places += is_digit & dotted
        dot = byte == 46
        strange |= dot & dotted
        dotted |= dot
    strange |= (digits == 0) | (digits > _DIGITS)
    mantissa = np.where(negative, -mantissa, mantissa)
    places[strange] = LONG
    places[column.lengths == 0] = MISSING
    return mantissa, places


def parse_number(text: str) -> Decimal:
    """The decimal that one text writes; raises ValueRefused where it writes none, or one that no probe could send."""
    if not _NUMBER.fullmatch(text):
        raise ValueRefused(f"{quote(text)} is not a number")
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise ValueRefused(f"{quote(text)} is out of all range") from None
    return in_range(value)


def in_range(value: Decimal) -> Decimal:
    """The value; raises ValueRefused where it is not finite or so far out that its digits would fill the memory."""
    if not value.is_finite() or not -60 <= value.adjusted() <= 30:
        raise ValueRefused(f"{quote(str(value))} is not a number in any range that a probe could send")
    return value


def to_counts(mantissa: NDArray[np.int64], places: NDArray[np.int8], through: Door) -> tuple[Counts, Mask, Mask]:
    """(counts int64[n], rounded bool[n], too_large bool[n]) of values mantissa / 10^places (places >= 0).

    Equal to Door.count for each; a count that is too large is 0.
    """
    counts = np.zeros(len(mantissa), np.int64)
    rounded = np.zeros(len(mantissa), np.bool_)
    too_large = np.zeros(len(mantissa), np.bool_)
    if len(places) and bool((places == places[0]).all()):
        return _same_places(mantissa, int(places[0]), through)
    for place in np.unique(places):
        rows = places == place
        counts[rows], rounded[rows], too_large[rows] = _same_places(mantissa[rows], int(place), through)
    return counts, rounded, too_large


def _same_places(mantissa: NDArray[np.int64], places: int, through: Door) -> tuple[Counts, Mask, Mask]:
    # counts = round((mantissa * a + b) / d)
    a = through.scale.numerator * through.offset.denominator
    b = through.offset.numerator * through.scale.denominator * 10**places
    d = through.scale.denominator * through.offset.denominator * 10**places
    common = math.gcd(a, b, d)
    a, b, d = a // common, b // common, d // common
    largest = max(int(mantissa.max()), -int(mantissa.min()), 1)
    if largest * abs(a) + abs(b) < 2**62 and d < 2**61:
        above = mantissa * a + b
        if d == 1:
            counts, exact = above, np.ones(len(above), np.bool_)
        else:
            counts, rest = np.divmod(above, d)
            counts += (2 * rest > d) | ((2 * rest == d) & (counts & 1 == 1))
            exact = rest == 0
        too_large = np.abs(counts) > LARGEST_COUNT
        return np.where(too_large, 0, counts), ~exact & ~too_large, too_large
    # Too long for int64 (many places, or a far-off unit): the same in whole numbers of any length.
    long = [divmod(int(m) * a + b, d) for m in mantissa]
    whole = [q + (2 * r > d or (2 * r == d and q & 1)) for q, r in long]
    too_large = np.array([abs(q) > LARGEST_COUNT for q in whole], np.bool_)
    counts = np.array([0 if abs(q) > LARGEST_COUNT else q for q in whole], np.int64)
    exact = np.array([r == 0 for _, r in long], np.bool_)
    return counts, ~exact & ~too_large, too_large
