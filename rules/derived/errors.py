"""Which errors does a derived quantity raise?"""

from __future__ import annotations

from rules.errors import TidebedError


class DerivedError(TidebedError, ValueError):
    """A derived quantity could not be worked out; the text names the quantity, the argument and the mend."""


class UnknownQuantity(DerivedError):
    """No derived quantity has this name."""


class UnknownArgument(DerivedError):
    """The quantity takes no argument of this name."""


class MissingArgument(DerivedError):
    """An argument without a default was not given."""


class WrongUnit(DerivedError):
    """The unit of a value is not known or measures something else."""


class NotANumber(DerivedError):
    """The text of a value is no finite number."""


class OutOfRange(DerivedError):
    """A value lies outside the range in which the formula holds."""


class Contradiction(DerivedError):
    """The arguments are each in range but do not go together."""
