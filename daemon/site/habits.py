"""Are clock, season, people and wording of the site file usable?"""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Iterator

from daemon.site.draft import Draft
from daemon.site.lines import Path
from daemon.site.located import nearest
from rules.conditions.band import BandSettings
from rules.errors import SettingError
from rules.local_time import when
from rules.settings import Priority, RuleSettings, SideSettings
from rules.texts import AMOUNT, STRAY, strays
from rules.units import UNITS

SIDES = {
    **dict.fromkeys(("band", "ahead"), ("high", "low")),
    "rate": ("rise", "fall"),
    "cycle": ("period", "full", "empty"),
}
"""Kind of rule -> the sides that can have texts and a priority of their own."""
_PLACE = re.compile(r"\{([^{}]*)\}")


def check_habits(made: Draft) -> None:
    """Note a wrong time zone, wrong hours and seasons, half a note condition, titles and ways that cannot work."""
    _check_timezone(made)
    for index, rule in made.rules.items():
        path: Path = ("rule", index)
        for at, hours, season in _spans(rule, path):
            _check_span(made, at, hours, season)
        if rule.within is not None and rule.since_note is None and path not in made.incomplete:
            made.refuse((*path, "within"), "stands alone", "say after which kind of note: since_note = ...")
        if rule.id in rule.explains:
            made.refuse((*path, "explains"), "a rule cannot explain itself", "take its own name out")
        for key in ("title", "says", "do", "advice"):
            _check_text(made, (*path, key), getattr(rule, key))
        for side, own in rule.sides.given().items():
            _check_side(made, (*path, "sides", side), rule, side, own)
            for key in ("title", "says", "do"):
                _check_text(made, (*path, "sides", side, key), getattr(own, key))
    for index, person in made.persons.items():
        listed = [(("ways",), person.ways), *((("ways_for", str(p)), ways) for p, ways in person.ways_for.items())]
        for at, number, way in ((at, number, way) for at, ways in listed for number, way in enumerate(ways)):
            if not re.fullmatch(r"[A-Za-z0-9_-]+", way):
                made.refuse(
                    ("person", index, *at, number),
                    "must be the name of a secret, not an address",
                    "keep the address with the secrets and write its name here, as in anna_phone",
                )


def _check_side(made: Draft, path: Path, rule: RuleSettings, side: str, own: SideSettings) -> None:
    known = SIDES.get(getattr(rule, "kind", ""), ())
    if side not in known:
        hint = f"it has {', '.join(known)}" if known else "write it at the rule itself"
        made.refuse(path, "is no side that this kind has" if known else "this kind has one side only", hint)
    elif own.priority is not None and Priority.LOG in (own.priority, rule.priority):
        made.refuse((*path, "priority"), "log holds for a rule as a whole", "make two rules, one for each side")


def _check_timezone(made: Draft) -> None:
    name = made.site.timezone
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        near = nearest(name, zoneinfo.available_timezones())
        hint = near if near.startswith("did") else 'write one as in "Europe/Dublin"'
        made.refuse(("site", "timezone"), "unknown time zone", hint)


def _spans(rule: RuleSettings, path: Path) -> Iterator[tuple[Path, str | None, str | None]]:
    if rule.during is not None:
        yield (*path, "during"), rule.during.hours, rule.during.season
    if isinstance(rule, BandSettings):
        for index, entry in enumerate(rule.limits):
            yield (*path, "limits", index), entry.hours, entry.season


def _check_span(made: Draft, path: Path, hours: str | None, season: str | None) -> None:
    for key, value, arguments in (("hours", hours, (hours, None)), ("season", season, (None, season))):
        if value is None:
            continue
        try:
            when(*arguments)
        except SettingError as error:
            made.refuse((*path, key), "is not understood", str(error).partition("; ")[2])


def _check_text(made: Draft, path: Path, text: str | None) -> None:
    """Only what can be filled in may stand in braces: the value, a point of the site, or an amount with its unit."""
    known = ("value", *made.ids("point"), *made.ids("derived"))
    if strays(text or "", _PLACE):
        made.refuse(path, STRAY, "write the name of a point in one pair of braces, as in {value}")
    for name in _PLACE.findall(text or ""):
        amount = AMOUNT.fullmatch(name)
        if amount is not None and amount[2] not in UNITS:
            made.refuse(path, f"{{{name}}} has no unit that is known", nearest(amount[2], UNITS, kind="units"))
        elif amount is None and name not in known:
            made.refuse(path, f"{{{name}}} cannot be filled in", nearest(name, known, kind="names"))
