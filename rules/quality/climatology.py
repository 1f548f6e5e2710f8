"""Does a reading lie outside what is usual in this month and at this time of day?"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.block import Times
from rules.durations import DAY
from rules.errors import SettingError
from rules.local_time import Zone, when
from rules.quality.gross_range import Limits, Outside, checked
from rules.quality.settings import QualitySettings, counts
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_UNTRIED, UNTRIED, Verdicts, beyond
from rules.settings import Amount, Settings

if TYPE_CHECKING:
    from rules.plan import PointPlan

_MONTHS = re.compile(r"(\d{1,2})(?:-(\d{1,2}))?")


class UsualSpan(Settings):
    """What is usual in some months, at some hours."""

    months: str | None = Field(None, description='as in "4-9" or "11-2"; left out, all year')
    hours: str | None = Field(None, description='local time of day, as in "20:00-07:00"; left out, all day')
    low: Amount | None = Field(None, description="the least that is usual")
    high: Amount | None = Field(None, description="the most that is usual")
    fail_low: Amount | None = Field(None, description="the least that is possible then")
    fail_high: Amount | None = Field(None, description="the most that is possible then")


class ClimatologySettings(QualitySettings):
    """Outside the usual span of its month and hour a reading is suspect; outside every span's time it is not evaluated.

    QARTOD climatology test: the manual gives 3 and never 4; a span that is given fail limits gives 4 beyond them, as
    the reference library does. Where spans overlap in time, the one written last holds.
    """

    spans: tuple[UsualSpan, ...] = Field(min_length=1)

    def build(self, point: PointPlan, zone: Zone) -> Climatology:
        """The test; raises SettingError where a span is upside down or without a limit, or its months are none."""
        return Climatology(tuple(_Season(span, point) for span in self.spans), zone)


class _Season:
    def __init__(self, span: UsualSpan, point: PointPlan) -> None:
        self.months = _months(span.months)
        self.hours = when(span.hours, None).hours
        usual: Limits = counts(span.low, point), counts(span.high, point)
        fail: Limits = counts(span.fail_low, point), counts(span.fail_high, point)
        if usual == fail == (None, None):
            raise SettingError("climatology: a span has no limit; write low, high, fail_low or fail_high")
        self.usual, self.fail = Outside(checked("climatology", usual, fail, "")), Outside(fail)


def _months(text: str | None) -> frozenset[int]:
    """The months of `"4-9"`, `"11-2"` or `"7"`; raises SettingError that shows the form."""
    if text is None:
        return frozenset(range(1, 13))
    found = _MONTHS.fullmatch(text.strip())
    first, last = (int(part or found[1]) for part in found.groups()) if found else (0, 0)
    if not (1 <= first <= 12 and 1 <= last <= 12):
        raise SettingError(f'months {text!r} are not understood; write them as "4-9", "11-2" or "7"')
    return frozenset(range(first, last + 1) if first <= last else {*range(first, 13), *range(1, last + 1)})


class Climatology:
    """The test for one point; it carries nothing."""

    excludes = False

    def __init__(self, seasons: tuple[_Season, ...], zone: Zone) -> None:
        self.seasons, self.zone = seasons, zone

    def judge(self, stretch: Stretch) -> Verdicts:
        """Doubted outside the usual span, failed outside the possible one, untried where no span speaks."""
        local = stretch.t + self.zone.offsets(stretch.t)
        days = local // DAY
        hours = local - days * DAY
        months = _month_of_day(days)
        found: Verdicts = np.full(len(stretch), UNTRIED)
        for season in self.seasons:
            within = np.isin(months, list(season.months)) if len(season.months) < 12 else None
            if season.hours is not None:
                at = _within(hours, *season.hours)
                within = at if within is None else within & at
            verdicts = beyond(season.usual.of(stretch), season.fail.of(stretch))
            if verdicts is not ALL_UNTRIED:
                np.copyto(found, verdicts, where=True if within is None else within)
        return found

    def state(self) -> None:
        """Nothing."""

    def load(self, state: None) -> None:
        """Nothing to take up."""


def _within(hours: Times, begin: int, end: int) -> NDArray[np.bool_]:
    after, before = hours >= begin, hours < end
    return after & before if begin < end else after | before


def _month_of_day(days: NDArray[np.int64]) -> NDArray[np.int64]:
    """1 to 12 of days since 1970."""
    first = int(days.min())
    each = np.arange(first, int(days.max()) + 1, dtype=np.int64).astype("datetime64[D]").astype("datetime64[M]")
    months: NDArray[np.int64] = (each.astype(np.int64) % 12 + 1)[days - first]
    return months
