"""What does a message say? What is wrong, since when, how long there is, what to do first; fit for a lock screen."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple, Protocol

from rules.alarms import Alarm
from rules.conditions.cycle import CycleSettings
from rules.conditions.flat import FlatSettings
from rules.conditions.stopped import StoppedSettings
from rules.durations import HOUR, SECOND, show_duration
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.settings import Priority, RuleSettings, Runway
from rules.showing import NO, YES, fitted, rough, show, show_number, show_rate
from rules.texts import AMOUNT, Words, fill, places
from rules.time_left import TimeLeft, time_left
from rules.units import parse_amount
from rules.untitled import own_says, own_title

TITLE_SIZE = 60
BODY_SIZE = 240

_COUNTED = 120
"""Seconds from which on a length of time is told in minutes, hours or days."""
_AMOUNT = re.compile(rf"\{{{AMOUNT.pattern}\}}")


class Facts(Protocol):
    """What the engine knows at an instant (a key)."""

    def value_at(self, point: str, key: int) -> int | None:
        """Counts held at the instant."""

    def slope_at(self, point: str, key: int, window: int) -> Fraction | None:
        """Counts per ms over the window that ends at the instant; None where it is not known."""


class Told(NamedTuple):
    """What a message is about: an alarm at an instant. point: whose value it shows; since: of its activation, ms."""

    rule: RuleSettings
    alarm: Alarm
    point: str
    key: int
    since: int


class Left(NamedTuple):
    """How long there is: the whole sentence, without what is assumed, and without the harm too."""

    whole: str
    plain: str
    short: str


class Writer:
    """Writes the texts of one plan."""

    def __init__(self, plan: Plan, points: Mapping[str, PointPlan], zone: Zone, facts: Facts) -> None:
        """points: all of the plan's, derived ones included."""
        self.plan, self.points, self.zone, self.facts = plan, points, zone, facts
        self.words = Words(plan.texts)
        before = "|".join(map(re.escape, self.words.say("before_number").split()))
        self._number = re.compile(rf"[\s:,]*(?:\b(?:{before})\b)?[\s:,]*\{{.*")

    # --- names, values and times

    def called(self, point: str) -> str:
        """What people call a point."""
        return self.points[point].name or point

    def value(self, point: str, key: int) -> str:
        """A point's value at an instant, as shown to people."""
        counts = self.facts.value_at(point, key)
        if counts is None:
            return self.words.say("no_reading")
        told = self.points[point]
        if told.unit == "s" and counts * told.resolution >= _COUNTED:
            return self.span(int(counts * told.resolution * SECOND))
        shown = show(self.plan, told, counts)
        return self.words.say(shown) if shown in (YES, NO) else shown

    def clock(self, ms: int, now: int) -> str:
        """As Words.clock, in the site's zone."""
        return self.words.clock(self.zone, ms, now)

    def span(self, ms: int) -> str:
        """A length of time in words that do not pretend: `2 h 15`, `25 min`."""
        days, hours, minutes = rough(ms)
        if days:
            return self.words.say("span.days", days=days)
        if hours and minutes:
            return self.words.say("span.hours_minutes", hours=hours, minutes=minutes)
        if hours:
            return self.words.say("span.hours", hours=hours)
        return self.words.say("span.minutes", minutes=minutes) if minutes else self.words.say("span.moment")

    def about(self, ms: int) -> str:
        """An estimated span: `about 2 h 15`."""
        return self.words.say("about", span=self.span(ms)) if ms >= 60_000 else self.span(ms)

    def filled(self, template: str, point: str, key: int) -> str:
        """The template with `{value}`, `{some.point}` and amounts filled in; an unknown name is left as it stands."""
        known = {name: self.value(name, key) for name in places(template) if name in self.points}
        return fill(self.amounts(template), {**known, "value": self.value(point, key)})

    def amounts(self, template: str) -> str:
        """The template with every `{36 degC}` in the keeper's unit."""
        return _AMOUNT.sub(lambda found: show_number(self.plan, found[1], found[2]), template)

    # --- titles

    def called_rule(self, rule: RuleSettings, point: str, side: str = "") -> str:
        """What people call a rule's alarm: its title up to the first number, else its point."""
        title = self.amounts(self._titled(rule, side, point))
        head, brace, _ = title.partition("{")
        if brace and ":" in head:
            return head.rpartition(":")[0].strip()
        return self._number.sub("", title).strip() or self.called(point)

    def title(self, told: Told) -> str:
        """At most 60 characters: what is wrong."""
        rule, side = told.rule, told.alarm.side
        if side in ("blind", "fault"):
            text = self.words.say(f"title.{side}", point=self.called(told.point), rule=rule.id)
        else:
            text = self.filled(self._titled(rule, side, told.point), told.point, told.key)
        return fitted(text, TITLE_SIZE)

    def _titled(self, rule: RuleSettings, side: str, point: str) -> str:
        title = rule.text_of(side, "title")
        return own_title(rule, side, point, self.points, self.words) if title is None else title

    def short_title(self, told: Told) -> str:
        """The title without numbers, for lists and for the message that it is over."""
        if told.alarm.side in ("blind", "fault"):
            return self.title(told).partition(": ")[0]
        return self.called_rule(told.rule, told.point, told.alarm.side)

    def drill(self, title: str) -> str:
        """The title of a message that belongs to a drill."""
        return fitted(self.words.say("title.drill", title=title), TITLE_SIZE)

    # --- messages about one alarm

    def told(
        self, told: Told, purpose: str, cause: str, unanswered: int | None, thin: Sequence[str]
    ) -> tuple[str, str]:
        """Title and body of a first message, of one to the next person, or of a repeat.

        cause: the sentence about what an alarm that is never suppressed comes from; unanswered: the key at which the
        first person was told; thin: points of which nothing is known though the alarm should rest on them.
        """
        title = self.title(told)
        if purpose == "repeat":
            title = fitted(self.words.say("title.repeat", title=title), TITLE_SIZE)
        return title, self._body(told, cause, unanswered, thin)

    def cause(self, rule: RuleSettings, point: str, over: int | None, key: int) -> str:
        """The sentence about a rule that another alarm comes from. over: the key of its return, where it is over."""
        called = self.called_rule(rule, point)
        if over is None:
            return self.words.say("cause", cause=called)
        return self.words.say("cause.over", cause=called, at=self.clock(over >> 1, key >> 1))

    def _body(self, told: Told, cause: str, unanswered: int | None, thin: Sequence[str]) -> str:
        """At most 240 characters; what to do first is never left out, the sentences before it give way."""
        now = told.key >> 1
        say = self.words.say
        says = say("since", says=self._says(told), since=self.clock(self.began(told), now))
        waited = "" if unanswered is None else say("unanswered", since=self.clock(unanswered >> 1, now))
        thinly = say("thin", points=", ".join(self.called(point) for point in thin)) if thin else ""
        whole, plain, short = self.left(told) or Left("", "", "")
        # From the whole of it to the bare numbers, by what can be missed most easily.
        return _with_first(
            self._first(told),
            (says, waited, cause, thinly, whole),
            (says, waited, cause, thinly, plain),
            (says, waited, cause, thinly, short),
            (says, cause, thinly, short),
            (says, cause, short),
            (says, short),
            (says, cause),
            (says,),
        )

    def _says(self, told: Told) -> str:
        side = told.alarm.side
        if side in ("blind", "fault"):
            return self.words.say(f"says.{side}", point=self.called(told.point), rule=told.rule.id)
        says = told.rule.text_of(side, "says")
        if not says:
            heard = self.facts.value_at(told.point, told.key) is not None
            says = own_says(told.rule, told.point, self.points, self.words, heard=heard)
        return self.filled(says, told.point, told.key)

    def _first(self, told: Told) -> str:
        """What to do first; of a rule that is blind or failed, to look for oneself."""
        side = told.alarm.side
        if side in ("blind", "fault"):
            do = self.words.say(f"do.{side}")
        else:
            text = told.rule.text_of(side, "do")
            do = self.filled(text, told.point, told.key) if text else ""
        return fitted(self.words.say("first", do=do), BODY_SIZE) if do else ""

    def began(self, told: Told) -> int:
        """Since when (ms) it is so: of what had to last before it counted, since it began to."""
        return told.since - _lasted(told.rule, told.alarm.side)

    def left(self, told: Told) -> Left | None:
        """How long there is until harm; None where it cannot be told."""
        runway, now = told.rule.runway, told.key >> 1
        if runway is None or told.alarm.side in ("blind", "fault"):
            return None
        point = self.points[runway.point]
        counts = self.facts.value_at(runway.point, told.key)
        if counts is None:
            return None
        measured: Fraction | None = None
        if runway.loss is None or now - told.since >= runway.window:
            measured = self.facts.slope_at(runway.point, told.key, runway.window)
        side = told.alarm.side if runway.point == told.point else ""
        found = time_left(runway, point, counts, side, measured)
        if not isinstance(found, TimeLeft):
            return None if found is None else self._left(told, runway, found)
        way, rate = "falls" if found.slope < 0 else "rises", show_rate(self.plan, point, found.slope * HOUR)
        assumed = self.words.say(f"assumed.{found.basis}.{way}", rate=rate)
        return self._left(told, runway, "left", left=self.about(found.span), assumed=assumed)

    def _left(self, told: Told, runway: Runway, text: str, left: str = "", assumed: str = "") -> Left:
        """text: the name of the sentence."""
        point, say = self.points[runway.point], self.words.say
        limit = show(self.plan, point, parse_amount(runway.limit, point.units) / point.resolution)
        harm = say("harm", harm=runway.harm) if runway.harm else ""

        def sentence(harm: str, assumed: str) -> str:
            told_of = {"left": left, "harm": harm, "assumed": assumed}
            if runway.point == told.point:
                said = say(f"{text}.own", limit=limit, **told_of)
            else:
                called, value = self.called(runway.point), self.value(runway.point, told.key)
                said = say(f"{text}.other", point=called, value=value, limit=limit.split(" ")[0], **told_of)
            return said[:1].upper() + said[1:]

        return Left(sentence(harm, assumed), sentence(harm, ""), sentence("", ""))

    def over(self, told: Told, at: int) -> tuple[str, str]:
        """Title and body of the message that it is over. at: the key of its return."""
        title = self.words.say("title.over", title=self.short_title(told))
        ended = at >> 1
        body = self.words.say(
            "over",
            at=self.clock(ended, told.key >> 1),
            lasted=self.span(max(ended - self.began(told), 60_000)),
            point=self.called(told.point),
            value=self.value(told.point, told.key),
        )
        return fitted(title, TITLE_SIZE), fitted(body, BODY_SIZE)

    def chattering(self, told: Told, cause: str) -> tuple[str, str]:
        """Title and body of the note that an alarm comes and goes, and which setting would calm it.

        One that is critical also says what its first message would: its value, its `cause` and how long there is.
        """
        rule, settings, say = told.rule, self.plan.messages, self.words.say
        deadband = getattr(rule, "deadband", None)
        delays = {"on_delay": show_duration(rule.on_delay), "off_delay": show_duration(rule.off_delay)}
        if rule.advice:
            advice = self.filled(rule.advice, told.point, told.key)
        elif deadband is None:
            advice = say("advice.delay", rule=rule.id, **delays)
        else:
            advice = say("advice.deadband", rule=rule.id, deadband=deadband, **delays)
        within, rest = self.span(settings.chattering_within), self.span(settings.chattering_settled)
        text = say("chattering", count=settings.chattering, within=within, advice=advice)
        first, rests = self._first(told), say("chattering.rest", rest=rest)
        if told.alarm.priority is not Priority.CRITICAL:
            title = say("title.chattering", title=self.short_title(told))
            return fitted(title, TITLE_SIZE), _with_first(first, (text, rests), (text,))
        title = say("title.chattering", title=self.title(told))
        bare = say("chattering", count=settings.chattering, within=within, advice="").strip()
        says = say("since", says=self._says(told), since=self.clock(self.began(told), told.key >> 1))
        left = self.left(told) or Left("", "", "")
        body = _with_first(
            first,
            (says, cause, left.whole, text, rests),
            (says, cause, left.whole, text),
            (says, cause, left.whole, bare),
            (says, cause, left.plain, bare),
            (says, cause, left.short, bare),
            (says, cause, left.short),
            (says, left.short),
            (left.short or says,),
        )
        return fitted(title, TITLE_SIZE), body

    # --- messages about several

    def summary(self, cause: Told, told: Sequence[Told]) -> tuple[str, str]:
        """Title and body of one message for several alarms, of which `cause` is the probable first."""
        say, now = self.words.say, cause.key >> 1
        others = [self.short_title(one) for one in told if one.alarm is not cause.alarm]
        called = self.short_title(cause)
        title = say("title.summary", count=len(told), cause=called)
        since = self.clock(self.began(cause), now)
        first = self._first(cause)

        def text(some: str) -> str:
            body = say("summary", cause=called, since=since, others=some) if some else ""
            return f"{body} {first}".strip()

        return fitted(title, TITLE_SIZE), self._listing(others, text)

    def digest(self, name: str, found: Sequence[tuple[Told, int]], since: int, now: int) -> tuple[str, str]:
        """Title and body of the daily list of what is not told singly: alarms and how often each came."""
        say = self.words.say
        title = say("title.digest", name=name, count=sum(times for _, times in found), since=self.clock(since, now))
        items = [
            say("digest.stands" if told.alarm.active else "digest.over", title=self.short_title(told), count=times)
            for told, times in found
        ]
        return fitted(title, TITLE_SIZE), self._listing(items, lambda some: f"{some}.")

    def well(self, name: str, standing: Sequence[Told], key: int) -> tuple[str, str]:
        """Title and body of the daily sign of life."""
        say, points = self.words.say, self.plan.points
        speaking = sum(self.facts.value_at(point.id, key) is not None for point in points)
        says = self.plan.messages.sign_of_life
        more = " " + say("well.says", says=self.filled(says, points[0].id, key)) if says and points else ""

        def text(some: str) -> str:
            stands = say("well.some", titles=some) if some else say("well.none")
            return say("well", speaking=speaking, points=len(points), standing=stands) + more

        title = say("title.well", name=name)
        return fitted(title, TITLE_SIZE), self._listing([self.short_title(told) for told in standing], text)

    def _listing(self, items: Sequence[str], text: Callable[[str], str]) -> str:
        """The text with as many items as fit, and how many more there are."""
        for shown in range(len(items), -1, -1):
            left = len(items) - shown
            some = [*items[:shown], *([self.words.say("more", count=left)] if left else [])]
            found = text("; ".join(some))
            if len(found) <= BODY_SIZE:
                break
        return fitted(found, BODY_SIZE)


def _with_first(first: str, *versions: Sequence[str]) -> str:
    """The first version (of sentences) that fits before `first`, the last one cut where none does."""
    room = BODY_SIZE - len(first) - 1 if first else BODY_SIZE
    texts = [" ".join(part for part in version if part) for version in versions]
    text = next((text for text in texts if len(text) <= room), fitted(texts[-1], room) if room > 0 else "")
    return f"{text} {first}".strip()


def _lasted(rule: RuleSettings, side: str) -> int:
    """How long (ms) a condition had to last before it was true."""
    if isinstance(rule, CycleSettings):
        return {"full": rule.full, "empty": rule.empty}.get(side) or 0
    if isinstance(rule, FlatSettings):
        return rule.window
    if isinstance(rule, StoppedSettings) and side == "stopped":
        positive = [item for item in rule.evidence if item.weight > 0]
        return min(item.lasting + ((item.window or 0) if item.still is not None else 0) for item in positive)
    return 0
