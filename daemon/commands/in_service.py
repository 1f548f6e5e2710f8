"""Which rule that was out of service watches again?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over_of_rule, rule_arguments, site_of, tell
from rules.acts import ActKind

EXAMPLE = "tidebed in-service bed2.cycle"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site, --json."""
    rule_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    act = hand_over_of_rule(arguments, site_of(arguments), ActKind.IN_SERVICE)
    tell(arguments, [act], f"{act.who} puts {act.rule} back in service; it is judged anew")
    return 0
