"""What does every quality test have in common?"""

from __future__ import annotations

import re
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

from rules.errors import SettingError, ValueRefused
from rules.quality.stretch import Stretch
from rules.quality.verdicts import Verdicts
from rules.settings import Settings
from rules.units import exact, parse_amount, parse_rate, split_amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan


class QualitySettings(Settings, ABC):
    """Base of the settings of all quality tests; each builds its test for a point."""

    @abstractmethod
    def build(self, point: PointPlan, zone: Zone) -> QualityTest:
        """The test for readings of `point`.

        Raises SettingError where the settings make no sense together, UnitError or ValueRefused for an amount that does
        not fit the point.
        """

    @cached_property
    def fingerprint(self) -> int:
        """A number that changes when the settings do."""
        return zlib.crc32(f"{type(self).__name__} {self.model_dump_json()}".encode())


class QualityTest(Protocol):
    """Gives each reading a verdict and carries what it needs from one stretch of readings to the next."""

    excludes: bool
    """Whether a reading that fails carries no value at all, so that nothing else is compared with it."""

    def judge(self, stretch: Stretch) -> Verdicts:
        """The verdicts on the present readings of a stretch, uint8[n], or uint8[] where all are alike."""

    def state(self) -> Any:
        """What must survive a restart, as JSON."""

    def load(self, state: Any) -> None:
        """Take up what `state` gave."""


def counts(value: Decimal | str | None, point: PointPlan) -> Fraction | None:
    """An amount in counts of the point's resolution, never rounded."""
    return None if value is None else parse_amount(value, point.units) / point.resolution


def step(value: Decimal | str | None, point: PointPlan) -> Fraction | None:
    """A difference between values in counts, never rounded."""
    return None if value is None else parse_amount(value, point.units, difference=True) / point.resolution


_FRACTION = re.compile(r"\s*(-?[\d.]+)\s*/\s*([\d.]+)\s*")


def rate(value: Decimal | str | None, point: PointPlan) -> Fraction | None:
    """A rate in counts a millisecond, never rounded.

    A number, or a fraction as in `"1/60"`, is in the point's unit a second; text may have a unit (`"1 degC/min"`).
    """
    if value is None:
        return None
    if isinstance(value, str) and (parts := _FRACTION.fullmatch(value)):
        over = exact(parts[2])
        if not over:
            raise ValueRefused(f"{value!r} divides by zero")
        return exact(parts[1]) / over / 1000 / point.resolution
    if isinstance(value, str) and split_amount(value)[1]:
        return parse_rate(value, point.units) / point.resolution
    return exact(value) / 1000 / point.resolution


def require_no_sign(name: str, *limits: Fraction | None) -> None:
    """Raise SettingError where a limit of how far or how fast is negative."""
    if any(limit is not None and limit < 0 for limit in limits):
        raise SettingError(f"{name}: a limit is negative; write it without a sign")


def require_order(
    name: str, suspect: Fraction | None, fail: Fraction | None, worse: Callable[[Fraction, Fraction], bool], mend: str
) -> None:
    """Raise SettingError where what fails would not be suspect too."""
    if suspect is not None and fail is not None and not worse(fail, suspect):
        raise SettingError(f"{name}: {mend}")
