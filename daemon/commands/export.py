"""How do readings leave the store as a plain file that other programs, and `tidebed replay`, can read?"""

from __future__ import annotations

import argparse
import itertools
import json
from collections.abc import Iterator
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.bench.progress import Step, progress_bars
from daemon.moments import moment_argument
from daemon.selfwatch.plan import watched_site
from daemon.site.load import load_site
from daemon.site.located import nearest
from daemon.store import StoreReader
from rules.block import Block
from rules.durations import DAY
from rules.errors import SettingError
from rules.events import show_time

EXAMPLE = (
    "tidebed export site.toml april.csv.gz --from 2026-04-01 --to 2026-05-01\n"
    "         tidebed export site.toml april.parquet --from 2026-04-01 --to 2026-05-01"
)

_FILE_HELP = (
    "FILE.csv, FILE.csv.gz, or FILE.parquet with the extra `fast` (pip install pyarrow); written whole or not at all"
)
_ENDINGS = (".csv", ".csv.gz", ".parquet")
_STRETCH = 2 * DAY
"""Of which readings are in memory at a time."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, FILE, --from, --to, --point, --flags, --json."""
    site_argument(parser, required=True)
    parser.add_argument("file", type=Path, metavar="FILE", help=_FILE_HELP)
    parser.add_argument("--from", dest="begin", metavar="T", help="from this time on; left out, from the first reading")
    parser.add_argument("--to", dest="end", metavar="T", help="up to this time, itself left out; left out, to the last")
    parser.add_argument("--point", dest="points", action="append", default=[], help="only this point; repeatable")
    parser.add_argument(
        "--flags",
        action="store_true",
        help="with a column of the flag that each ended with: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing",
    )
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: written. Times are UTC, values in each point's own unit, to the last digit."""
    from adapters.recordings.quick_csv import is_installed
    from adapters.recordings.write import write_stretches

    file: Path = arguments.file
    if not file.name.endswith(_ENDINGS) or not file.resolve().parent.is_dir():
        raise SettingError(f"{file}: write a name that ends in .csv, .csv.gz or .parquet, in a folder that is there")
    if file.suffix == ".parquet" and not is_installed():
        raise SettingError(f"{file}: Parquet needs the extra `fast`: pip install pyarrow; or write {file.stem}.csv.gz")
    site = watched_site(load_site(arguments.site))
    begin = moment_argument(arguments.begin, site.plan.timezone, "--from")
    end = moment_argument(arguments.end, site.plan.timezone, "--to")
    if begin is not None and end is not None and begin >= end:
        raise SettingError(f"--from {show_time(begin)} does not lie before --to {show_time(end)}; swap them")
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

        def stretches(done: Step) -> Iterator[Iterator[Block]]:
            for start in range(after, upto, _STRETCH):
                end = min(start + _STRETCH, upto)
                yield itertools.chain.from_iterable(store.read_final(name, start, end) for name in chosen)
                done(end - after, upto - after)

        series = {name: (plans[name].unit, plans[name].resolution) for name in chosen}
        with progress_bars() as bar:
            count = write_stretches(file, stretches(bar("writing")), series, with_flags=arguments.flags)
    first, last = show_time(after + 1), show_time(upto)
    if arguments.json:
        line = {"file": str(file), "readings": count, "points": chosen, "from": first, "to": last}
        print(json.dumps(line, ensure_ascii=False))
    else:
        print(f"{count} readings of {len(chosen)} points from {first} to {last}: {file}")
    return 0
