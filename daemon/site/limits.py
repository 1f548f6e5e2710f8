"""Can every rule and stage come true and return: are limits in order, deadbands small enough, evidence complete?"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from daemon.site.amounts import RATES, amounts
from daemon.site.draft import Draft
from daemon.site.lines import Path
from daemon.site.located import nearest
from rules.conditions.ahead import AheadSettings
from rules.conditions.band import BandSettings
from rules.conditions.rate import RateSettings
from rules.conditions.stopped import Evidence, StoppedSettings
from rules.plan import PointPlan
from rules.settings import RuleSettings
from rules.stages import StageSettings

_OVER_A_WINDOW = ("still", "moved", "falling", "rising")

Amounts = Mapping[Path, Fraction]


def check_limits(made: Draft, points: Mapping[str, PointPlan]) -> None:
    """Note what is wrong with the numbers of each rule and stage, taken in their points' units."""
    for index, rule in made.rules.items():
        path: Path = ("rule", index)
        found = amounts(made, rule, path, points)
        _check_sizes(made, found)
        if path in made.incomplete:
            continue
        _check_some_limit(made, path, rule)
        _check_order(made, path, rule, found)
        _check_windows(made, path, rule)
        if isinstance(rule, BandSettings):
            _check_timed(made, path, rule)
        if isinstance(rule, StoppedSettings):
            _check_stopped(made, path, rule)
    for index, stage in made.stages.items():
        path = ("stage", index)
        _check_stage(made, path, stage, amounts(made, stage, path, points))


def _check_sizes(made: Draft, found: Amounts) -> None:
    for path, value in found.items():
        if path[-1] in RATES and value <= 0:
            made.refuse(path, "must be more than zero", "the key says which way; write how fast")
        elif path[-1] in ("deadband", "still", "tolerance") and value < 0:
            made.refuse(path, "must not be negative", "write how far, without a sign")
        elif path[-1] in ("moved", "span") and value <= 0:
            made.refuse(path, "must be more than zero", "write how far, without a sign")


def _check_some_limit(made: Draft, path: Path, rule: RuleSettings) -> None:
    """A rule that could watch two sides must watch one of them at least."""
    if isinstance(rule, RateSettings):
        if rule.rise is None and rule.fall is None:
            made.refuse(path, "has no limit", 'write rise = "2 degC/h", fall = ... or both')
    elif isinstance(rule, BandSettings | AheadSettings):
        own = [rule, *(rule.limits if isinstance(rule, BandSettings) else ())]
        if all(entry.high is None and entry.low is None for entry in own):
            made.refuse(path, "has no limit", "write high = ..., low = ... or both")


def _check_timed(made: Draft, path: Path, rule: BandSettings) -> None:
    for index, entry in enumerate(rule.limits):
        at = (*path, "limits", index)
        if entry.high is None and entry.low is None:
            made.refuse(at, "has no limit", "write high = ..., low = ... or both")
        if entry.hours is None and entry.season is None:
            made.refuse(at, "says neither hours nor season", "limits that always hold stand beside `limits`")


def _check_order(made: Draft, path: Path, rule: RuleSettings, found: Amounts) -> None:
    """High above low, wherever both stand, and a deadband that leaves room between them."""
    deadband = found.get((*path, "deadband"), Fraction(0))
    timed = len(rule.limits) if isinstance(rule, BandSettings) else 0
    for at in (path, *((*path, "limits", index) for index in range(timed))):
        top, bottom = found.get((*at, "high")), found.get((*at, "low"))
        if top is None or bottom is None:
            continue
        if top <= bottom:
            made.refuse((*at, "high"), "is not above low", "swap them, or mend one of them")
        elif deadband >= top - bottom:
            made.refuse(
                (*path, "deadband"), "is as wide as the band, so the alarm could never return", "write a smaller one"
            )


def _check_windows(made: Draft, path: Path, rule: RuleSettings) -> None:
    """Windows and horizons have a length, and a window is as long as the span that it must cover."""
    for key in ("window", "horizon", "shortest", "longest", "full", "empty"):
        if getattr(rule, key, None) == 0:
            made.refuse((*path, key), "must be more than zero", 'write as in "30 min"')
    window, least = getattr(rule, "window", None), getattr(rule, "min_span", None)
    if window and least is not None and least > window:
        made.refuse((*path, "min_span"), "is longer than window, so the rule could never know", "write a shorter one")


def _check_stopped(made: Draft, path: Path, rule: StoppedSettings) -> None:
    for index, evidence in enumerate(rule.evidence):
        _check_evidence(made, (*path, "evidence", index), evidence)
    most = sum(evidence.weight for evidence in rule.evidence if evidence.weight > 0)
    if rule.needed > most:
        made.refuse((*path, "needed"), f"is more than all weights together ({most})", f"write at most {most}")


def _check_evidence(made: Draft, path: Path, evidence: Evidence) -> None:
    if evidence.window is None:
        return
    looks_back = any(getattr(evidence, test) is not None for test in _OVER_A_WINDOW)
    if looks_back and evidence.window == 0:
        made.refuse((*path, "window"), "must be more than zero", 'write as in "30 min"')
    elif not looks_back:
        test = "under" if evidence.under is not None else "over"
        made.refuse(
            (*path, "window"), f"does nothing beside {test}", "take it out; to wait, write lasting = ... instead"
        )


def _check_stage(made: Draft, path: Path, stage: StageSettings, found: Amounts) -> None:
    on, off = found.get((*path, "on")), found.get((*path, "off"))
    if on is not None and off is not None:
        if stage.side == "high" and off > on:
            made.refuse((*path, "off"), "is above on, so the stage would flutter", "on the high side, off is below on")
        elif stage.side == "low" and off < on:
            made.refuse((*path, "off"), "is below on, so the stage would flutter", "on the low side, off is above on")
    if stage.follows is not None:
        _check_follows(made, (*path, "follows"), stage)


def _check_follows(made: Draft, path: Path, stage: StageSettings) -> None:
    stages = list(made.stages.values())
    above = stages[: stages.index(stage)]
    before = next((other for other in above if other.id == stage.follows), None)
    if before is None and any(other.id == stage.follows for other in stages):
        made.refuse(path, f"{stage.follows} does not stand above this stage", "put the stage that comes first above it")
    elif before is not None and before.side != stage.side:
        same = [other.id for other in above if other.side == stage.side]
        made.refuse(path, f"{stage.follows} holds the other side", nearest(before.id, same, kind="stages of this side"))
