"""Which events of a recording were real? Labels in a file: added, listed, removed, or taken from alarms of a replay."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.bench.source import recorded
from daemon.moments import moment_argument
from daemon.site.load import Site, load_site
from daemon.site.located import nearest
from demo_replay.episodes import called, episodes
from demo_replay.label_file import read_labels
from demo_replay.label_writing import write_labels
from demo_replay.labels import Label
from demo_replay.moments import Moments, show_span
from demo_replay.replay import replay
from rules.errors import SettingError
from rules.events import show_time

EXAMPLE = (
    "tidebed label night.labels.csv add --rule tank.warm --from 2026-07-11T12:00 --to 2026-07-11T15:30\n"
    "         tidebed label night.labels.csv list\n"
    "         tidebed label night.labels.csv remove 2\n"
    "         tidebed label night.labels.csv from-alarms night.csv.gz --rule tank.warm"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """FILE.csv, then add, list, remove N or from-alarms RECORDING."""
    parser.add_argument("file", metavar="FILE.csv", type=Path, help="the labels: start,end,rule,note")
    deeds = parser.add_subparsers(dest="deed", required=True, metavar="add|list|remove|from-alarms")
    add = deeds.add_parser("add", help="mark a span as a true event of a rule")
    add.add_argument("--rule", required=True, metavar="RULE")
    add.add_argument("--from", dest="begin", required=True, metavar="T", help="RFC 3339, or local without offset")
    add.add_argument("--to", dest="end", required=True, metavar="T")
    add.add_argument("--note", default="", metavar="TEXT", help="what it was")
    listed = deeds.add_parser("list", help="show the labels with their numbers")
    remove = deeds.add_parser("remove", help="take one out by its number")
    remove.add_argument("number", metavar="N", type=int)
    alarms = deeds.add_parser("from-alarms", help="ask of each alarm of a replay whether it was real")
    alarms.add_argument("recording", metavar="RECORDING", help="a recording, or store: for what the daemon has kept")
    alarms.add_argument("--rule", metavar="RULE", help="alarms of this rule alone")
    alarms.add_argument("--all-real", action="store_true", help="do not ask: mark every one as real")
    for deed in (add, listed, remove, alarms):
        site_argument(deed)
        json_argument(deed)


def run(arguments: argparse.Namespace) -> int:
    """0: done."""
    site = load_site(arguments.site)
    file: Path = arguments.file
    fresh = arguments.deed in ("add", "from-alarms") and not file.exists()
    known = [] if fresh else read_labels(file, site.plan.timezone)
    if arguments.deed == "list":
        _print(site, known, as_json=arguments.json)
        return 0
    if arguments.deed == "remove":
        number: int = arguments.number
        if not 1 <= number <= len(known):
            raise SettingError(f"{file} has no label {number}; it has {len(known)}, see `tidebed label {file} list`")
        left = [label for place, label in enumerate(known, 1) if place != number]
        write_labels(file, left)
        if arguments.json:
            print(_line(number, known[number - 1]))
        else:
            print(f"Label {number} taken out of {file}")
        return 0
    new = [_added(site, arguments)] if arguments.deed == "add" else _from_alarms(site, arguments, known)
    every = sorted([*known, *new], key=lambda label: (label.start_ms, label.rule))
    write_labels(file, every)
    if arguments.json:
        for label in new:
            print(_line(every.index(label) + 1, label))
    else:
        print(f"{len(new)} {'label' if len(new) == 1 else 'labels'} added to {file}")
    return 0


def _added(site: Site, arguments: argparse.Namespace) -> Label:
    _check_rule(site, arguments.rule)
    begin = moment_argument(arguments.begin, site.plan.timezone, "--from")
    end = moment_argument(arguments.end, site.plan.timezone, "--to")
    if begin is None or end is None or end < begin:
        raise SettingError(f"--to {arguments.end} is before --from {arguments.begin}; swap them")
    return Label(begin, end, arguments.rule, arguments.note)


def _check_rule(site: Site, rule: str) -> None:
    rules = [settings.id for settings in site.plan.rules]
    if rule not in rules:
        raise SettingError(f"--rule {rule}: there is no such rule; {nearest(rule, rules, kind='rules')}")


def _from_alarms(site: Site, arguments: argparse.Namespace, known: list[Label]) -> list[Label]:
    """The alarms of a replay that are real; those that meet a label of their rule are not asked again."""
    if arguments.rule is not None:
        _check_rule(site, arguments.rule)
    with recorded(site, [arguments.recording]) as found:
        replayed = replay(site.plan, found.source, acts=found.acts, span=found.span)
    moments, end = Moments(site.plan.timezone, replayed.shown), replayed.shown[1]
    new: list[Label] = []
    for one in episodes(replayed.events):
        until = end if one.ended is None else one.ended
        if arguments.rule not in (None, one.rule) or any(
            label.rule == one.rule and label.start_ms <= until and label.end_ms >= one.onset for label in known
        ):
            continue
        if not arguments.all_real:
            told = f"{moments.minute(one.onset)}  {called(one.rule, one.side)}  for {show_span(until - one.onset)}"
            asked = sys.stderr if arguments.json else sys.stdout
            print(f"{told}  {one.why}\nWas it real? [y/n, q to stop] ", end="", flush=True, file=asked)
            answer = sys.stdin.readline().strip().casefold()
            if not answer or answer.startswith("q"):
                break
            if not answer.startswith("y"):
                continue
        new.append(Label(one.onset, until, one.rule, one.why))
    return new


def _print(site: Site, known: list[Label], *, as_json: bool) -> None:
    if not known:
        if not as_json:
            print("No label.")
        return
    moments = Moments(site.plan.timezone, (known[0].start_ms, known[-1].end_ms))
    for number, label in enumerate(known, 1):
        if as_json:
            print(_line(number, label))
        else:
            lasted = show_span(label.end_ms - label.start_ms)
            print(f"{number:>3}  {moments.minute(label.start_ms)}  {lasted:<11} {label.rule}  {label.note}")


def _line(number: int, label: Label) -> str:
    """As JSON; its number counts from 1 in the file as it is now, or as it was where it was taken out."""
    span = {"start": show_time(label.start_ms), "end": show_time(label.end_ms)}
    return json.dumps({"number": number, **span, "rule": label.rule, "note": label.note}, ensure_ascii=False)
