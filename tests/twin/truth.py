"""What can be said of a statement about points? True, false, or None: unknown."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

Truth = bool | None


class Look(NamedTuple):
    """One side of a rule as of now: its condition, and the condition for its return."""

    condition: Truth
    back: Truth


UNKNOWN = Look(None, None)


def any_true(truths: Iterable[Truth]) -> Truth:
    """Kleene's or: true if one is, else unknown if one is, else false."""
    listed = list(truths)
    if True in listed:
        return True
    return None if None in listed else False


def all_true(truths: Iterable[Truth]) -> Truth:
    """Kleene's and: false if one is, else unknown if one is, else true."""
    listed = list(truths)
    if False in listed:
        return False
    return None if None in listed else True


def opposite(truth: Truth) -> Truth:
    """Kleene's not: the opposite of unknown is unknown."""
    return None if truth is None else not truth
