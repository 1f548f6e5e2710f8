"""Which rule is not to be heard until somebody puts it back, because what it watches is being worked on?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over, known_rule, rule_arguments, site_of
from rules.acts import ActKind

EXAMPLE = 'tidebed out-of-service bed2.cycle --why "bed 2 is being replanted"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site."""
    rule_arguments(parser)
    parser.add_argument("--why", required=True, help="the reason, for those who read the log")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    rule = known_rule(site, arguments.rule)
    who = hand_over(arguments, site, ActKind.OUT_OF_SERVICE, rule=rule, side=arguments.side, text=arguments.why)
    print(f"handed in: {who} takes {rule} out of service; `tidebed in-service {rule}` puts it back")
    return 0
