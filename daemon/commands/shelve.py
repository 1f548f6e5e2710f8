"""Which alarm should be quiet until a time, because its reason is known?"""

from __future__ import annotations

import argparse

from daemon.handing_in import ends_after, hand_over_of_rule, rule_arguments, shown_end, site_of, tell
from rules.acts import ActKind
from rules.standing_orders import LONGEST

EXAMPLE = 'tidebed shelve tank.warm --for "2 h" --why "the shade is being mended"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --for, --why, --who, --site, --json."""
    rule_arguments(parser, needs_why=True)
    parser.add_argument(
        "--for", dest="length", required=True, metavar="TIME", help='how long, as in "2 h"; a year at most'
    )


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    until = ends_after(site, arguments.length, LONGEST[ActKind.SHELVE])
    act = hand_over_of_rule(arguments, site, ActKind.SHELVE, until=until)
    tell(arguments, [act], f"{act.who} shelves {act.rule} until {shown_end(site, until)}; then it is judged anew")
    return 0
