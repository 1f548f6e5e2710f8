"""How does it watch day and night: take readings in, keep them, judge them, and tell people?"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from rules.events import Event

EXAMPLE = "tidebed run site.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --json, --played-clock."""
    site_argument(parser)
    json_argument(parser)
    parser.add_argument(
        "--played-clock", action="store_true", help="go by a player's time instead of the board's (for demonstrations)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Run until SIGTERM or Ctrl-C; SIGHUP reads the site file again."""
    from daemon.service import Service, set_up_logging

    set_up_logging()
    listener = _print_events if arguments.json else None
    Service(Path(arguments.site), played=arguments.played_clock, listener=listener).run()
    return 0


def _print_events(events: Sequence[Event]) -> None:
    for event in events:
        sys.stdout.write(json.dumps(event.line(), ensure_ascii=False) + "\n")
    sys.stdout.flush()
