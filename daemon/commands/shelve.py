"""Which alarm should be quiet until a time, because its reason is known?"""

from __future__ import annotations

import argparse

from daemon.handing_in import ends_after, hand_over, known_rule, rule_arguments, shown_end, site_of
from rules.acts import ActKind
from rules.durations import DAY

EXAMPLE = 'tidebed shelve tank.warm --for "2 h" --why "the shade is being mended"'

LONGEST = 366 * DAY


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --for, --why, --who, --site."""
    rule_arguments(parser)
    parser.add_argument(
        "--for", dest="length", required=True, metavar="TIME", help='how long, as in "2 h"; a year at most'
    )
    parser.add_argument("--why", required=True, help="the reason, for those who read the log")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    rule = known_rule(site, arguments.rule)
    until = ends_after(site, arguments.length, LONGEST)
    who = hand_over(arguments, site, ActKind.SHELVE, rule=rule, side=arguments.side, until=until, text=arguments.why)
    print(f"handed in: {who} shelves {rule} until {shown_end(site, until)}; then it is judged anew")
    return 0
