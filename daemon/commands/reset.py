"""Which alarm that latches is cleared, now that its cause is gone and looked into?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over, known_rule, rule_arguments, site_of
from rules.acts import ActKind

EXAMPLE = 'tidebed reset leak.floor --why "hose clamp replaced"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site."""
    rule_arguments(parser)
    parser.add_argument("--why", default="", help="what was found, for those who read the log")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon; it resets only what is acknowledged and back to normal."""
    site = site_of(arguments)
    rule = known_rule(site, arguments.rule)
    who = hand_over(arguments, site, ActKind.RESET, rule=rule, side=arguments.side, text=arguments.why)
    print(f"handed in: {who} resets {rule}")
    return 0
