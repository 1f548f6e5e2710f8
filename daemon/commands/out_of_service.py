"""Which rule is not to be heard until somebody puts it back, because what it watches is being worked on?"""

from __future__ import annotations

import argparse

from daemon.handing_in import hand_over_of_rule, rule_arguments, site_of, tell
from rules.acts import ActKind

EXAMPLE = 'tidebed out-of-service bed2.cycle --why "bed 2 is being replanted"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --why, --who, --site, --json."""
    rule_arguments(parser, needs_why=True)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    act = hand_over_of_rule(arguments, site_of(arguments), ActKind.OUT_OF_SERVICE)
    tell(arguments, [act], f"{act.who} takes {act.rule} out of service; `tidebed in-service {act.rule}` puts it back")
    return 0
