"""What do several quality tests say together? The worst of what they found: 4 over 3 over 1 over 2 over 9."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rules.block import Flags
from rules.flags import Flag

Verdicts = NDArray[np.uint8]
"""uint8[n], or uint8[] where all readings are alike: flags in the order in which one outweighs another."""

MISSING, UNTRIED, PASSES, DOUBTED, FAILS = (np.uint8(verdict) for verdict in range(5))

_FLAGS = np.array([Flag.MISSING, Flag.NOT_EVALUATED, Flag.PASS, Flag.SUSPECT, Flag.FAIL], np.uint8)
_VERDICTS = np.zeros(10, np.uint8)
_VERDICTS[_FLAGS] = np.arange(len(_FLAGS), dtype=np.uint8)

ALL_UNTRIED: Verdicts = np.array(UNTRIED)
ALL_PASS: Verdicts = np.array(PASSES)


def flags_of(verdicts: Verdicts) -> Flags:
    """The QARTOD flags of verdicts, in their shape."""
    flags: Flags = _FLAGS[verdicts]
    return flags


def verdicts_of(flags: Flags) -> Verdicts:
    """The verdicts of QARTOD flags, in their shape."""
    verdicts: Verdicts = _VERDICTS[flags]
    return verdicts


def beyond(suspect: NDArray[np.bool_] | None, fail: NDArray[np.bool_] | None) -> Verdicts:
    """Verdicts from where a suspect limit and a fail limit are passed (None: no such limit)."""
    if suspect is None and fail is None:
        return ALL_UNTRIED
    if fail is None:
        return np.asarray(suspect).view(np.uint8) + PASSES
    failed = fail.view(np.uint8)
    doubted = failed if suspect is None else (suspect | fail).view(np.uint8)
    both: Verdicts = doubted + failed + PASSES
    return both


def aggregate(each: Sequence[Flags]) -> Flags:
    """The flag of every reading from those that the tests gave it, uint8[n] each: 4 over 3 over 1 over 2 over 9.

    A pass hides that another test was not evaluated, as the QARTOD manuals and their reference library have it.
    """
    return flags_of(np.maximum.reduce([verdicts_of(flags) for flags in each]))
