"""What is said of a rule for which its keeper wrote no title and no sentence? By its kind, in the site's language."""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.overdue import OverdueSettings
from rules.conditions.silent import SilentSettings
from rules.conditions.spread import SpreadSettings
from rules.conditions.stopped import StoppedSettings
from rules.durations import show_duration
from rules.plan import PointPlan
from rules.settings import RuleSettings
from rules.texts import Words

_OWN_TITLES = ("high", "low", "rise", "fall", "silent", "flat", "stopped", "period", "full", "empty")


def own_title(rule: RuleSettings, side: str, point: str, points: Mapping[str, PointPlan], words: Words) -> str:
    """What is wrong, with `{value}` where a number stands. side: "" for any of them; point: whose value is shown."""
    called = _called(points, point)
    if isinstance(rule, OverdueSettings):
        return words.say("title.overdue", task=_task(rule))
    if isinstance(rule, SpreadSettings):
        both = ", ".join(_called(points, name) for name in rule.points)
        return words.say("title.near" if rule.too_close else "title.apart", points=both)
    if isinstance(rule, StoppedSettings):
        return words.say("title.stopped")
    if not side:
        return called
    if side in ("high", "low") and points[point].quantity == "state":
        return words.say("title.contact", point=called, value="{value}")
    name = side if side in _OWN_TITLES else "other"
    return words.say(f"title.{name}", point=called, rule=rule.id, value="{value}")


def own_says(rule: RuleSettings, point: str, points: Mapping[str, PointPlan], words: Words, *, heard: bool) -> str:
    """The numbers in a sentence, with values in braces. heard: whether the point has ever said something."""
    called = _called(points, point)
    if isinstance(rule, OverdueSettings):
        return words.say("says.overdue", task=_task(rule), every=show_duration(rule.every))
    if isinstance(rule, SilentSettings):
        return words.say("says.silent" if heard else "says.never", point=called, value="{value}")
    if isinstance(rule, SpreadSettings):
        return ", ".join(words.say("says", point=_called(points, name), value=f"{{{name}}}") for name in rule.points)
    name = "says.contact" if points[point].quantity == "state" else "says"
    return words.say(name, point=called, value="{value}")


def _called(points: Mapping[str, PointPlan], point: str) -> str:
    return points[point].name or point


def _task(rule: OverdueSettings) -> str:
    return rule.note.replace("_", " ")
