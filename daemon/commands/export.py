"""How do readings leave the store as a plain file that other programs, and `tidebed replay`, can read?"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from daemon.arguments import site_argument
from daemon.moments import moment_argument
from daemon.selfwatch.plan import watched_site
from daemon.site.load import load_site
from daemon.site.located import nearest
from daemon.store import StoreReader
from rules.block import Block
from rules.errors import SettingError
from rules.events import show_time

EXAMPLE = "tidebed export site.toml april.csv.gz --from 2026-04-01 --to 2026-05-01"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, FILE, --from, --to, --point, --flags."""
    site_argument(parser, required=True)
    parser.add_argument("file", type=Path, metavar="FILE.csv[.gz]", help="written whole or not at all")
    parser.add_argument("--from", dest="begin", metavar="T", help="from this time on; left out, from the first reading")
    parser.add_argument("--to", dest="end", metavar="T", help="up to this time, itself left out; left out, to the last")
    parser.add_argument("--point", dest="points", action="append", default=[], help="only this point; repeatable")
    parser.add_argument(
        "--flags",
        action="store_true",
        help="with a column of the flag that each ended with: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing",
    )


def run(arguments: argparse.Namespace) -> int:
    """0: written. Times are UTC, values in each point's own unit, to the last digit."""
    from adapters.recordings.write import write_csv

    file: Path = arguments.file
    if not file.name.endswith((".csv", ".csv.gz")) or not file.resolve().parent.is_dir():
        raise SettingError(f"{file}: write a name that ends in .csv or .csv.gz, in a folder that is there")
    site = watched_site(load_site(arguments.site))
    begin = moment_argument(arguments.begin, site.plan.timezone, "--from")
    end = moment_argument(arguments.end, site.plan.timezone, "--to")
    plans = {point.id: point for point in site.plan.points}
    with StoreReader(site.store_path, site.plan.points) as store:
        span = store.span()
        if span is None:
            raise SettingError(f"{site.store_path} holds no readings yet")
        after = (span[0] if begin is None else begin) - 1
        upto = span[1] if end is None else end - 1
        kept = [name for name in store.points() if name in plans]
        for name in arguments.points:
            if name not in kept:
                raise SettingError(f"there are no readings of {name!r}; {nearest(name, kept, kind='points')}")
        chosen = [name for name in kept if not arguments.points or name in arguments.points]

        def blocks() -> Iterator[Block]:
            for name in chosen:
                yield from store.read_final(name, after, upto)

        series = {name: (plans[name].unit, plans[name].resolution) for name in chosen}
        count = write_csv(file, blocks(), series, with_flags=arguments.flags)
    last = show_time(upto)
    print(f"{count} readings of {len(chosen)} points from {show_time(after + 1)} to {last}: {file}")
    return 0
