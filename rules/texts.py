"""In which words does Tidebed speak to people? English; a language file or the keeper's own replaces any of them."""

from __future__ import annotations

import re
from collections.abc import Mapping

ENGLISH: Mapping[str, str] = {
    # Titles, at most 60 characters each: what is wrong.
    "title.high": "{point} too high: {value}",
    "title.low": "{point} too low: {value}",
    "title.rise": "{point} rises fast: {value}",
    "title.fall": "{point} falls fast: {value}",
    "title.silent": "{point} sends nothing",
    "title.flat": "{point} repeats one value: {value}",
    "title.stopped": "Water has stopped",
    "title.period": "{point} fills and drains too slowly or too fast",
    "title.full": "{point} stays full: {value}",
    "title.empty": "{point} stays low: {value}",
    "title.blind": "Nothing watches the water: {point} is silent",
    "title.fault": "Rule {rule} failed and watches nothing",
    "title.other": "{rule}: {side}",
    "title.repeat": "Still: {title}",
    "title.over": "Over: {title}",
    "title.drill": "Drill: {title}",
    "title.chattering": "Comes and goes: {title}",
    "title.summary": "{count} alarms at once: {cause}",
    "title.digest": "{name}: {count} since {since}",
    "title.well": "{name} is watched",
    # Sentences, always in this order: numbers and since when, who has not answered, cause, evidence, time left, first.
    "says": "{point} {value}",
    "says.blind": "{point} and what else tells of the water send nothing",
    "says.fault": "Rule {rule} cannot be judged",
    "do.blind": "look whether water returns to the tank; then check the plugs of the probes.",
    "do.fault": "look yourself at what it watches; then read the log and mend its settings.",
    "since": "{says} since {since}.",
    "unanswered": "Nobody has answered since {since}.",
    "cause": "Cause: {cause}.",
    "cause.over": "Cause: {cause}, over since {at}.",
    "thin": "Evidence is thin: nothing known of {points}.",
    "left.other": "{point} {value}: {left} to {limit}{harm}{assumed}.",
    "left.own": "{left} to {limit}{harm}{assumed}.",
    "past.other.under": "{point} {value}: already under {limit}{harm}.",
    "past.other.over": "{point} {value}: already over {limit}{harm}.",
    "past.own.under": "already under {limit}{harm}.",
    "past.own.over": "already over {limit}{harm}.",
    "harm": ", where {harm}",
    "assumed.measured.falls": ", falling {rate} an hour as now",
    "assumed.measured.rises": ", rising {rate} an hour as now",
    "assumed.expected.falls": ", if it falls {rate} an hour",
    "assumed.expected.rises": ", if it rises {rate} an hour",
    "first": "First: {do}",
    "over": "Back to normal at {at} after {lasted}. {point}: {value}.",
    "chattering": "{count} times within {within}. {advice}",
    "chattering.rest": "Until it has rested for {rest} it is not told one by one.",
    "advice.deadband": "In {rule}, widen deadband (now {deadband}), or lengthen on_delay (now {on_delay}).",
    "advice.delay": "In {rule}, lengthen on_delay (now {on_delay}) or off_delay (now {off_delay}).",
    "summary": "Probably first: {cause}, since {since}. Also: {others}.",
    "digest.over": "{title} ({count})",
    "digest.stands": "{title} ({count}, still on)",
    "well": "{speaking} of {points} points speak. {standing}",
    "well.none": "No alarm stands.",
    "well.some": "Alarms: {titles}.",
    "well.says": "{says}.",
    "more": "{count} more",
    "seen": "Seen it? {link}",
    # Values and spans.
    "no_reading": "no reading",
    "yes": "yes",
    "no": "no",
    "span.moment": "less than a minute",
    "span.minutes": "{minutes} min",
    "span.hours": "{hours} h",
    "span.hours_minutes": "{hours} h {minutes}",
    "span.days": "{days} days",
    "about": "about {span}",
    "days": "Mon Tue Wed Thu Fri Sat Sun",
}
"""name -> template. What stands in braces is filled in."""

_PLACE = re.compile(r"\{([a-z0-9_.]+)\}")


def places(template: str) -> list[str]:
    """The names in braces."""
    return _PLACE.findall(template)


STRAY = "has a brace that holds no name"


def strays(template: str, place: re.Pattern[str] = _PLACE) -> bool:
    """Whether a brace stands in it that is not part of a place; people would read it as it stands."""
    return re.search(r"[{}]", place.sub("", template)) is not None


def fill(template: str, known: Mapping[str, str]) -> str:
    """The template with what is known filled in; any other name is left as it stands."""
    return _PLACE.sub(lambda match: known.get(match.group(1), match.group(0)), template)


class Words:
    """The words of one plan."""

    def __init__(self, own: Mapping[str, str]) -> None:
        """own: what replaces the English words, in whole or in part; other names are without effect."""
        self._texts = {**ENGLISH, **own}

    def say(self, text: str, /, **known: object) -> str:
        """The text of that name with its places filled in."""
        return fill(self._texts[text], {place: str(value) for place, value in known.items()})


def problems_of(own: Mapping[str, object]) -> list[str]:
    """What is wrong in a keeper's or a language's texts: unknown names, and places that cannot be filled in."""
    found: list[str] = []
    for name, text in own.items():
        if name not in ENGLISH:
            found.append(f"text {name!r} is not one that Tidebed says; its names are {', '.join(ENGLISH)}")
        elif not isinstance(text, str):
            found.append(f"text {name!r} must be text in quotes")
        elif strays(text):
            found.append(f"text {name!r} {STRAY}: {text}")
        else:
            known = places(ENGLISH[name])
            found += [
                f"text {name!r}: {{{place}}} cannot be filled in; there {'is' if known else 'are'} "
                + (", ".join(f"{{{one}}}" for one in known) or "none")
                for place in places(text)
                if place not in known
            ]
    return found
