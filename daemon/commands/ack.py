"""Who has seen an alarm, so that nobody else is called for it?"""

from __future__ import annotations

import argparse

from daemon.commands.alarms import standing
from daemon.handing_in import hand_over, hand_over_each, known_rule, site_of, tell, who_arguments
from rules.acts import ActKind
from rules.alarms import State
from rules.errors import SettingError

EXAMPLE = "tidebed ack loop.stopped --note 'spare pump is in'\ntidebed ack --returned"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --returned, --note, --who, --site, --json."""
    parser.add_argument("rule", metavar="RULE", nargs="?", help="the rule; left out, every alarm that stands")
    parser.add_argument("--side", help="only this side, as in high")
    parser.add_argument("--returned", action="store_true", help="all alarms that are over already, and only these")
    parser.add_argument("--note", default="", help="what you saw or did")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon; it takes it within a second or so."""
    site = site_of(arguments)
    if arguments.returned:
        if arguments.rule or arguments.side:
            raise SettingError("--returned means every alarm that is over; leave out RULE and --side")
        over = [(alarm["rule"], alarm["side"]) for alarm in standing(site) if alarm["state"] == State.RETURNED]
        acts = hand_over_each(arguments, site, ActKind.ACKNOWLEDGE, over, text=arguments.note)
        seen = f"has seen {len(acts)} that {'is' if len(acts) == 1 else 'are'} over"
        tell(arguments, acts, f"{acts[0].who} {seen}" if acts else "nothing; no alarm is over")
        return 0
    rule = None if arguments.rule is None else known_rule(site, arguments.rule)
    act = hand_over(arguments, site, ActKind.ACKNOWLEDGE, rule=rule, side=arguments.side, text=arguments.note)
    tell(arguments, [act], f"{act.who} has seen {rule or 'every alarm that stands'}")
    return 0
