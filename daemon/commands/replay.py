"""What would the rules have said to a recorded span, with these settings or with others?"""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.bench.account import account, out_of_service
from daemon.bench.progress import progress_bars
from daemon.bench.source import STORE, Recorded, recorded
from daemon.moments import moment_argument
from daemon.selfwatch.plan import as_kept
from daemon.site.load import Site, load_site
from daemon.site.located import nearest
from demo_replay.replay import Replayed, replay
from rules.errors import SettingError

EXAMPLE = (
    "tidebed replay site.toml night.csv.gz\n"
    '         tidebed replay site.toml night.csv.gz --set "tank.warm.on_delay=30 min" --plot night.png\n'
    "         tidebed replay site.toml night.csv.gz --plot oxygen.png --points tank.oxygen,loop.flow"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, RECORDING..., --from, --to, --set, --plot, --as-of, --strict, --json."""
    site_argument(parser, required=True)
    parser.add_argument(
        "recordings",
        metavar="RECORDING",
        nargs="+",
        help="CSV or SenML JSON, gzipped or not; Parquet; or store: for what the daemon has kept",
    )
    parser.add_argument(
        "--from",
        dest="begin",
        metavar="T",
        help="show what happens from this time on (RFC 3339, or local without offset); earlier readings warm it up",
    )
    parser.add_argument("--to", dest="end", metavar="T", help="stop at this time")
    parser.add_argument(
        "--set",
        dest="changes",
        metavar="RULE.KEY=VALUE",
        action="append",
        default=[],
        help="replay with another setting, and compare with today's; may be given more than once",
    )
    parser.add_argument("--plot", metavar="FILE.png", type=Path, help="draw a picture of it")
    parser.add_argument(
        "--as-of",
        metavar="T",
        help="with store: judge by the calibrations that were entered by this time; left out, by all that "
        "are known, each from the time from which it holds",
    )
    parser.add_argument(
        "--points",
        metavar="POINT,...",
        help="of a span of at most 8 days draw these points, or `all`; left out, those that alarms and decisions rest "
        "on; a longer span is drawn as a calendar. What is judged does not change",
    )
    parser.add_argument("--strict", action="store_true", help="stop at the first line that cannot be read")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: replayed, whatever it found."""
    site = load_site(arguments.site)
    wanted = _changed(site, arguments.changes)
    if arguments.recordings == [STORE]:
        # The log of a daemon that watched itself holds its own alarms as well.
        kept = as_kept(site)
        site, wanted = kept, kept if wanted is site else as_kept(wanted)
    timezone = site.plan.timezone
    begin = moment_argument(arguments.begin, timezone, "--from")
    end = moment_argument(arguments.end, timezone, "--to")
    as_of = moment_argument(arguments.as_of, timezone, "--as-of")
    picture: Path | None = arguments.plot
    if picture is not None and (picture.suffix.lower() != ".png" or not picture.resolve().parent.is_dir()):
        raise SettingError(f"--plot {picture}: write a name that ends in .png, in a folder that is there")
    drawn = _drawn(site, arguments.points, picture)
    with contextlib.ExitStack() as stack:
        with progress_bars() as bar:
            found = stack.enter_context(
                recorded(site, arguments.recordings, strict=arguments.strict, progress=bar("reading"), as_of=as_of)
            )

            def judged(one: Site, word: str) -> Replayed:
                return replay(
                    one.plan,
                    found.source,
                    acts=found.acts,
                    span=found.span,
                    watched=found.watched,
                    from_=begin,
                    to=end,
                    progress=bar(word),
                )

            replayed = judged(wanted, "judging")
            today = judged(site, "judging as of today") if wanted is not site and not arguments.json else None
        if arguments.json:
            _print_lines(replayed, found)
        else:
            _print(replayed, today, found, arguments.changes)
        if picture is not None:
            from daemon.bench.plotting import draw

            draw(picture, replayed, found, arguments.recordings, drawn)
            print(f"Picture: {picture}", file=sys.stderr if arguments.json else sys.stdout)
    return 0


def _changed(site: Site, changes: list[str]) -> Site:
    if not changes:
        return site
    from daemon.bench.what_if import parse_change, with_changes

    return with_changes(site, [parse_change(text) for text in changes])


def _drawn(site: Site, text: str | None, picture: Path | None) -> tuple[str, ...]:
    """The points that --points names; none: the picture chooses."""
    if text is None:
        return ()
    if picture is None:
        raise SettingError("--points says what a picture shows; name its file with --plot as well")
    known = [*(point.id for point in site.plan.points), *(derived.id for derived in site.plan.derived)]
    if text.strip() == "all":
        return tuple(known)
    names = tuple(name.strip() for name in text.split(","))
    for name in names:
        if name not in known:
            raise SettingError(f"--points {name}: there is no such point; {nearest(name, known, kind='points')}")
    return names


def _print_lines(replayed: Replayed, found: Recorded) -> None:
    for line in (*account(found), *out_of_service(replayed.service)):
        print(line, file=sys.stderr)
    for event in replayed.events:
        print(json.dumps(event.line(), ensure_ascii=False))


def _print(replayed: Replayed, today: Replayed | None, found: Recorded, changes: list[str]) -> None:
    from rich.console import Console

    from daemon.bench.report import print_comparison, print_report, shown_episodes
    from demo_replay.comparing import compare

    console = Console(highlight=False, markup=False, emoji=False)
    print_report(console, found, replayed, changes)
    if today is not None:
        print_comparison(console, today, replayed, compare(shown_episodes(today), shown_episodes(replayed)))
