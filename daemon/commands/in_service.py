"""Which rule that was out of service watches again?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over, known_rule, rule_arguments, site_of
from rules.acts import ActKind

EXAMPLE = "tidebed in-service bed2.cycle"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site."""
    rule_arguments(parser)
    parser.add_argument("--why", default="", help="the reason, for those who read the log")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    rule = known_rule(site, arguments.rule)
    who = hand_over(arguments, site, ActKind.IN_SERVICE, rule=rule, side=arguments.side, text=arguments.why)
    print(f"handed in: {who} puts {rule} back in service; it is judged anew")
    return 0
