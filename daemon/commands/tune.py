"""Which setting of a rule would have told what was real, soonest and with the fewest false alarms?"""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path
from typing import TextIO

from daemon.arguments import json_argument, site_argument
from daemon.bench.cases import gather
from daemon.bench.progress import progress_bars
from daemon.bench.trade_off import json_lines, print_trade_off
from daemon.bench.trying import Trying
from daemon.site.load import Site, load_site
from daemon.site.write import edit
from demo_replay.tuning import fleet
from demo_replay.tuning.tune import Tuned, tune
from rules.errors import SettingError

EXAMPLE = (
    "tidebed tune site.toml may.csv.gz june.csv.gz --rule tank.warm \\\n"
    '             --vary high=24:28:0.1 --vary "on_delay=0 min:60 min:5 min" --plot warm.png'
)

_PIECES_A_WORKER = 4
_PIECES_FOR_A_CLUSTER = 32


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, RECORDING..., --rule, --vary and the rest."""
    site_argument(parser, required=True)
    parser.add_argument(
        "recordings",
        metavar="RECORDING",
        nargs="+",
        help="CSV or SenML JSON, gzipped or not; or store: for what the daemon has kept",
    )
    parser.add_argument("--rule", metavar="RULE", required=True, help="the rule to tune; the file stays as it is")
    parser.add_argument(
        "--vary",
        metavar="KEY=FIRST:LAST:STEP",
        action="append",
        required=True,
        help='a key and the values to try, as in high=24:28:0.1 or "on_delay=0 min:1 h:5 min"; up to three times',
    )
    parser.add_argument("--side", metavar="SIDE", help="which side to tune, where the rule has more than one")
    parser.add_argument(
        "--labels",
        metavar="FILE.csv",
        type=Path,
        help="what was real (start,end,rule,note); left out, night.labels.csv beside each night.csv.gz",
    )
    parser.add_argument("--plot", metavar="FILE.png", type=Path, help="draw a picture of alarms against delay")
    parser.add_argument("--write", action="store_true", help="put the recommended setting into the site file")
    parser.add_argument("--workers", metavar="N", type=int, default=1, help="so many processes share the work")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="let a Dask cluster do the work, as in tcp://host:8786")
    parser.add_argument("--strict", action="store_true", help="stop at the first line that cannot be read")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: tuned, and with --write the site file is changed where something better was found."""
    site = load_site(arguments.site)
    picture: Path | None = arguments.plot
    if picture is not None and (picture.suffix.lower() != ".png" or not picture.resolve().parent.is_dir()):
        raise SettingError(f"--plot {picture}: write a name that ends in .png, in a folder that is there")
    trying = Trying(site, arguments.rule, arguments.vary, arguments.side)
    work, parts = _hands(arguments)
    with progress_bars() as bar:
        gathered = gather(
            site, trying.trial, arguments.recordings, arguments.labels, strict=arguments.strict, progress=bar("reading")
        )
        tuned = tune(
            trying.trial, gathered.cases, trying.variants, parts=parts, run=work, progress=bar("trying settings")
        )
    beside = sys.stderr if arguments.json else sys.stdout
    if arguments.json:
        for remark in gathered.remarks:
            print(remark, file=sys.stderr)
        for line in json_lines(tuned):
            print(line)
    else:
        from rich.console import Console

        print_trade_off(Console(highlight=False, markup=False, emoji=False), site.plan.name, tuned, gathered)
    if picture is not None:
        from demo_replay.pictures.trade_off import picture_of_trade_off

        picture_of_trade_off(site.plan.name, tuned, picture)
        print(f"Picture: {picture}", file=beside)
    if arguments.write:
        _write(site, tuned, beside)
    return 0


def _hands(arguments: argparse.Namespace) -> tuple[fleet.Run, int]:
    """Who does the work, and into how many pieces it is cut."""
    workers: int = arguments.workers
    if workers < 1:
        raise SettingError(f"--workers {workers}: at least one must do the work")
    if arguments.scheduler is not None:
        if workers > 1:
            raise SettingError("--workers and --scheduler stand together; choose one of them")
        return partial(fleet.by_cluster, address=arguments.scheduler), _PIECES_FOR_A_CLUSTER
    if workers > 1:
        return partial(fleet.by_processes, workers=workers), workers * _PIECES_A_WORKER
    return fleet.here, 1


def _write(site: Site, tuned: Tuned, out: TextIO) -> None:
    """Show what changes in the site file, then change it."""
    number = tuned.choice.setting
    if number is None or number == tuned.trial.grid.number_of_today():
        print(f"{site.path} stays as it is: nothing better was found", file=out)
        return
    change = edit(site.path, tuned.trial.rule.id, tuned.trial.grid.setting(number))
    print("\n" + "\n".join(change.diff()), file=out)
    change.write()
    print(f"Written to {site.path}; a daemon that runs takes it up when it is told to reload", file=out)
