"""Which alarm that latches is cleared, now that its cause is gone and looked into?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over_of_rule, rule_arguments, site_of, tell
from rules.acts import ActKind

EXAMPLE = 'tidebed reset leak.floor --why "hose clamp replaced"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site, --json."""
    rule_arguments(parser, "what was found, for those who read the log")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon; it resets only what is acknowledged and back to normal."""
    act = hand_over_of_rule(arguments, site_of(arguments), ActKind.RESET)
    tell(arguments, [act], f"{act.who} resets {act.rule}")
    return 0
