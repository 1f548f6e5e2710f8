"""In which words does Tidebed speak to people? English; a language file or the keeper's own replaces any of them."""

from __future__ import annotations

import re
from collections.abc import Mapping

from rules.durations import DAY
from rules.local_time import Zone

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
    "title.contact": "{point}: {value}",
    "title.overdue": "Due: {task}",
    "title.apart": "Probes disagree: {points}",
    "title.near": "Probes show the same: {points}",
    "title.other": "{rule}: {point} {value}",
    "title.repeat": "Still: {title}",
    "title.over": "Over: {title}",
    "title.drill": "Drill: {title}",
    "title.chattering": "Comes and goes: {title}",
    "title.summary": "{count} alarms at once: {cause}",
    "title.digest": "{name}: {count} since {since}",
    "title.well": "{name} is watched",
    # Sentences, always in this order: numbers and since when, who has not answered, cause, evidence, time left, first.
    "says": "{point} {value}",
    "says.contact": "{point}: {value}",
    "says.silent": "{point} was {value}, nothing",
    "says.never": "No reading of {point}",
    "says.overdue": "{task}: to be done every {every}; due",
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
    "under.other": "{point} {value}: already under {limit}{harm}.",
    "over.other": "{point} {value}: already over {limit}{harm}.",
    "under.own": "already under {limit}{harm}.",
    "over.own": "already over {limit}{harm}.",
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
    "advice.raise": "In {table}, raise {key} (now {now}).",
    "advice.lower": "In {table}, lower {key} (now {now}).",
    "advice.nothing": "There is nothing to set for it.",
    "summary": "Probably first: {cause}, since {since}. Also: {others}.",
    "digest.over": "{title} ({count})",
    "digest.stands": "{title} ({count}, still on)",
    "well": "{speaking} of {points} points speak. {standing}",
    "well.none": "No alarm stands.",
    "well.some": "Alarms: {titles}.",
    "well.says": "{says}.",
    "more": "{count} more",
    "seen": "Seen it? {link}",
    "repeated": "(may be a repeat)",
    "folded.title": "{count} alarms came and went while the link was down",
    "folded.item": "{title}, {begun} to {over}",
    "folded": "{alarms}. All are over. First: when there is time, look at the log.",
    "test.title": "Test from {name}",
    "test.body": "This is a test. If you read it, alarms will reach you this way.",
    # What is told past the log, while nothing can be watched. Titles are followed by the name of the site.
    "unset_clock.title": "The board's clock is wrong, so nothing is watched",
    "unset_clock.body": "It has shown a time that is past since the board started {minutes} min ago. "
    "In about {left} min watching goes on, with times that may be wrong. "
    "First: look at the place yourself; then at the board's network.",
    "unstored.title": "Nothing can be stored, so nothing is watched",
    "unstored.body": "The board could not write to its disk for about {minutes} min. "
    "Alarms are not judged until it can. First: look at the place yourself; then free some space or change the disk.",
    # The page behind the link of a message.
    "page.language": "en",
    "page.waits": "{priority} since {since}; nobody has said yet that they have seen it.",
    "page.button": "I have seen it",
    "page.then": "Then nobody else is called for this alarm. It mends nothing.",
    "page.noted": "Noted. Nobody else is called for this alarm.",
    "page.seen": "Seen at {at} by {who}.",
    "page.over": "It is over since {at}. There is nothing to do here.",
    "page.set_aside": "It is set aside since {at}. There is nothing to do here.",
    "page.newer": "It has come back since. Answer the newer message instead.",
    "page.unknown": "The log holds no alarm for this message any more.",
    "page.old": "This link is too old",
    "page.old.do": "Links work for a while only. Answer a newer message, or acknowledge at the daemon: tidebed ack.",
    "page.nothing": "Nothing here",
    "page.busy": "That could not be noted just now. Please press again in a minute.",
    "priority.critical": "critical",
    "priority.high": "high",
    "priority.medium": "medium",
    "priority.low": "low",
    # The daemon's own points and rules.
    "tidebed.readings_age": "Newest reading",
    "tidebed.clock_jump": "The board's clock",
    "tidebed.disk_free": "Room on the disk",
    "tidebed.unsent_age": "Oldest critical message",
    "tidebed.refused": "Messages refused within an hour",
    "tidebed.commit_time": "Writing to the disk",
    "tidebed.starts": "Starts within a day",
    "tidebed.board_temperature": "The board",
    "tidebed.no_readings.title": "No readings come in at all",
    "tidebed.no_readings.says": "The newest is {value} old, so nothing is watched",
    "tidebed.no_readings.do": "look at the place yourself; then at the board's network and the broker.",
    "tidebed.clock.title": "The board's clock is wrong or jumped: {value}",
    "tidebed.clock.says": "Times in the log may be wrong, by {value}",
    "tidebed.clock.do": "see that the board has a network, or a battery for its clock.",
    "tidebed.disk.title": "The disk is nearly full: {value} free",
    "tidebed.disk.do": "delete what is not needed there, or move the store to a larger disk.",
    "tidebed.unsent.title": "A critical message cannot be sent",
    "tidebed.unsent.says": "It waits for {value}",
    "tidebed.unsent.do": "look at the place yourself; then check the router and `tidebed now`.",
    "tidebed.not_taken.title": "A service refuses our messages",
    "tidebed.not_taken.says": "One was refused within the hour",
    "tidebed.not_taken.do": "run `tidebed notify-test` and mend the address it names.",
    "tidebed.store.title": "Writing to the disk is slow: {value}",
    "tidebed.store.do": "save a backup now; a memory card that becomes slow is often about to fail.",
    "tidebed.restarted.title": "The board keeps starting again",
    "tidebed.restarted.says": "Starts within a day: {value}. Each time nothing was watched for a while",
    "tidebed.restarted.do": "look at its supply and plug; if lights dim or the mains flickers, call an electrician.",
    "tidebed.board_hot.title": "The board is hot: {value}",
    "tidebed.board_hot.says": "Its processor is at {value}; it may stop or spoil its memory card",
    "tidebed.board_hot.do": "shade it, open the vents of its box, keep it out of the wet.",
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
    # Words before a number that mean nothing without it, where a title is shown without its number.
    "before_number": "to at is of reads",
}
"""name -> template. What stands in braces is filled in."""

_PLACE = re.compile(r"\{([a-z0-9_.]+)\}")
AMOUNT = re.compile(r"(-?[0-9]+(?:\.[0-9]+)?) ([^\s{}]+)")
"""Number and unit, as they may stand in braces in the texts of a rule."""


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

    def __contains__(self, text: str) -> bool:
        return text in self._texts

    def say(self, text: str, /, **known: object) -> str:
        """The text of that name with its places filled in."""
        return fill(self._texts[text], {place: str(value) for place, value in known.items()})

    def clock(self, zone: Zone, ms: int, now: int) -> str:
        """A local time of day; with the day where it is not today's, with the date where the day says too little."""
        moment, today = zone.moment(ms), zone.moment(now)
        if now - ms < DAY / 2 or moment.date() == today.date():
            return f"{moment:%H:%M}"
        day = self.say("days").split()[moment.weekday()] if now - ms < 6 * DAY else f"{moment:%Y-%m-%d}"
        return f"{day} {moment:%H:%M}"


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
