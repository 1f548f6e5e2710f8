"""How is everything the daemon knows copied, while it runs?"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.site.load import load_site
from daemon.store import StoreReader
from rules.errors import SettingError

EXAMPLE = "tidebed backup site.toml --out /media/stick/tidebed.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --out, --json."""
    site_argument(parser)
    parser.add_argument("--out", required=True, metavar="FILE", help="where the copy goes; a file that is there stays")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Copy the store: readings, log, messages and checkpoint, whole as of one instant. 1: part of it is damaged."""
    site = load_site(arguments.site)
    goal = Path(arguments.out)
    if goal.exists():
        raise SettingError(f"{goal} is there already; name a new file, or move that one away")
    with StoreReader(site.store_path, site.plan.points) as store:
        store.backup(goal)
        damaged = store.damaged_days()
    size = goal.stat().st_size
    if arguments.json:
        print(json.dumps({"file": str(goal), "bytes": size, "damaged_days": damaged}, ensure_ascii=False))
    else:
        print(f"{goal}: {size / 1e6:.1f} MB; addresses and passwords are not in it")
    if damaged:
        print(
            f"sealed days that are damaged, in the store and so in this backup: {', '.join(damaged)}", file=sys.stderr
        )
        print("Keep the earlier backups, and check the disk: it may be failing.", file=sys.stderr)
    return 1 if damaged else 0
