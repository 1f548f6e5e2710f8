"""How does a backup take the place of a store that is damaged or lost?"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store.restoring import restore
from rules.events import show_time
from rules.local_time import Zone

EXAMPLE = "tidebed restore site.toml --from /media/stick/tidebed.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --from, --json."""
    parser.description = (
        f"{parser.description}\n\nStop the daemon first. The backup is looked through before anything changes, and\n"
        "the former store is kept beside it under another name."
    )
    site_argument(parser)
    parser.add_argument("--from", dest="backup", required=True, metavar="FILE", help="the backup; it stays as it is")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Put a copy of the backup in the store's place."""
    site = load_site(arguments.site)
    zone = Zone(site.plan.timezone)
    stamp = f"before-{zone.moment(SystemClock().now()):%Y%m%dT%H%M%S}"
    done = restore(site.store_path, Path(arguments.backup), stamp)
    if arguments.json:
        line = {
            "file": str(site.store_path),
            "from": arguments.backup,
            "judged": None if done.judged is None else show_time(done.judged),
            "former": None if done.aside is None else str(done.aside),
            "sent_again": done.doubtful,
        }
        print(json.dumps(line, ensure_ascii=False))
        return 0
    upto = "nothing judged yet" if done.judged is None else f"all up to {zone.moment(done.judged):%d %b %Y %H:%M}"
    print(f"{site.store_path}: from {arguments.backup}, which holds {upto}")
    if done.aside is not None:
        print(f"The former store is now {done.aside}; delete it when you need it no more")
    if done.doubtful:
        print(f"{done.doubtful} messages that were unsent then are sent again, marked as possible repeats")
    print("Start the daemon again; the time in between counts as one in which it did not run")
    return 0
