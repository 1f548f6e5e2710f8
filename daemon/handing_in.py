"""How does a command hand an act to the running daemon: who, which rule, until when?"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import time
from collections.abc import Iterable, Mapping, Sequence

from daemon.arguments import json_argument
from daemon.clock import SystemClock
from daemon.selfwatch.plan import watched_site
from daemon.site.load import Site, load_site
from daemon.site.located import nearest
from daemon.store import StoreReader, hand_in
from rules.acts import Act, ActKind
from rules.durations import MINUTE, parse_duration
from rules.errors import SettingError
from rules.events import Event
from rules.local_time import Zone


def who_arguments(parser: argparse.ArgumentParser) -> None:
    """Add --who, --site and --json."""
    parser.add_argument("--who", default=None, help="who you are; left out, your login name")
    site = os.environ.get("TIDEBED_SITE", "site.toml")
    parser.add_argument("--site", default=site, metavar="SITE", help="the site file")
    json_argument(parser)


def rule_arguments(
    parser: argparse.ArgumentParser, why: str = "the reason, for those who read the log", *, needs_why: bool = False
) -> None:
    """Add RULE, --side, --why, --who, --site and --json. why: what --help says of --why."""
    parser.add_argument("rule", metavar="RULE", help="the rule whose alarm is meant")
    parser.add_argument("--side", help="only this side, as in high")
    parser.add_argument("--why", default="", required=needs_why, help=why)
    who_arguments(parser)


def site_of(arguments: argparse.Namespace) -> Site:
    """The site, the daemon's own rules among its own."""
    return watched_site(load_site(arguments.site))


def known_rule(site: Site, name: str) -> str:
    """The rule's name; raises SettingError with the nearest where there is none."""
    return _known(name, [rule.id for rule in site.plan.rules], "rule")


def known_point(site: Site, name: str) -> str:
    """As known_rule."""
    return _known(name, [point.id for point in (*site.plan.points, *site.plan.derived)], "point")


def known_person(site: Site, name: str) -> str:
    """As known_rule."""
    return _known(name, [person.id for person in site.plan.persons], "person")


def _known(name: str, names: Sequence[str], kind: str) -> str:
    if name not in names:
        raise SettingError(f"there is no {kind} {name!r}; {nearest(name, names, kind=f'{kind}s')}")
    return name


def time_at(site: Site) -> int:
    """The time (ms UTC) that the site's daemon goes by: the board's, or that of its last checkpoint where the board's
    clock was set back. Raises StoreMissing where no daemon has run yet, and StoreError."""
    with StoreReader(site.store_path) as store:
        saved = store.checkpoint()
    return max(SystemClock().now(), 0 if saved is None else int(saved["now"]))


def ends_after(site: Site, text: str, longest: int) -> int:
    """The instant (ms UTC) so long from now. Raises SettingError where it is none, or longer than `longest` ms; and as
    time_at."""
    length = parse_duration(text)
    if not 0 < length <= longest:
        from rules.durations import show_duration

        raise SettingError(f"--for {text!r} must be more than nothing and at most {show_duration(longest)}")
    return time_at(site) + length


def hand_over(
    arguments: argparse.Namespace,
    site: Site,
    kind: ActKind,
    *,
    rule: str | None = None,
    side: str | None = None,
    until: int | None = None,
    text: str = "",
    data: Mapping[str, str] | None = None,
) -> Act:
    """Leave the act for the daemon, which dates it when it takes it, within a second or so; gives the act.

    Raises StoreMissing where no daemon has run yet, and StoreError; SettingError with the reason where a daemon that
    runs refuses it.
    """
    who = arguments.who or getpass.getuser()
    act = Act(SystemClock().now(), kind, who, rule, side, until, text, dict(data or {}))
    hand_in(site.store_path, act)
    if refused := _refusal(site, act):
        raise SettingError(f"refused: {refused}")
    return act


def hand_over_each(
    arguments: argparse.Namespace, site: Site, kind: ActKind, alarms: Iterable[tuple[str, str]], *, text: str = ""
) -> list[Act]:
    """As hand_over, of several alarms (rule, side) at once and without waiting for what the daemon says to each."""
    who = arguments.who or getpass.getuser()
    acts = [Act(SystemClock().now(), kind, who, rule, side, None, text) for rule, side in alarms]
    for act in acts:
        hand_in(site.store_path, act)
    return acts


def tell(arguments: argparse.Namespace, acts: Sequence[Act], text: str, *more: str) -> None:
    """Say what was handed in; with --json each act as the line of the log that it will be, dated when it was handed
    in."""
    if arguments.json:
        for act in acts:
            print(json.dumps(Event(act.time, "act", act.body()).line(), ensure_ascii=False))
    else:
        print("\n".join([f"handed in: {text}", *more]))


ANSWER_WITHIN = 4.0
"""Seconds in which a daemon that runs has taken an act: a commit, and what it waits for readings on their way."""


def _refusal(site: Site, act: Act) -> str:
    """Why the daemon refuses what was just handed in; empty where it takes it, or where none runs just now."""
    with StoreReader(site.store_path) as store:
        saved = store.checkpoint()
        if saved is None or abs(act.time - int(saved["now"])) > MINUTE:
            return ""
        until = time.monotonic() + ANSWER_WITHIN
        while time.monotonic() < until:
            for event in store.events(int(saved["frontier"]), type="act"):
                body = event.body
                said = tuple(body.get(key) or "" for key in ("kind", "who", "rule", "side", "text"))
                if said == (act.kind.value, act.who, act.rule or "", act.side or "", act.text):
                    return str(body.get("refused", ""))
            time.sleep(0.1)
    return ""


_NEED_A_REASON = (ActKind.SHELVE, ActKind.OUT_OF_SERVICE)


def hand_over_of_rule(arguments: argparse.Namespace, site: Site, kind: ActKind, *, until: int | None = None) -> Act:
    """As hand_over, for what `rule_arguments` took."""
    rule = known_rule(site, arguments.rule)
    if kind in _NEED_A_REASON and not arguments.why.strip():
        raise SettingError('--why is empty; say the reason, as in --why "the shade is being mended"')
    return hand_over(arguments, site, kind, rule=rule, side=arguments.side, until=until, text=arguments.why)


def shown_end(site: Site, until: int) -> str:
    """A local day and time."""
    return f"{Zone(site.plan.timezone).moment(until):%d %b %H:%M}"
