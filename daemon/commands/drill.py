"""Would everybody be told, and would somebody answer? An exercise whose messages say that they are one."""

from __future__ import annotations

import argparse

from daemon.clock import SystemClock
from daemon.handing_in import ends_after, hand_over, known_rule, shown_end, site_of, tell, who_arguments
from rules.acts import ActKind
from rules.errors import SettingError
from rules.standing_orders import LONGEST

EXAMPLE = 'tidebed drill loop.stopped --for "30 min"\n         tidebed drill --end'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE..., --for, --why, --end, --who, --site, --json."""
    parser.add_argument("rules", metavar="RULE", nargs="*", help="the rules that are exercised; left out, all")
    parser.add_argument("--for", dest="length", default="30 min", metavar="TIME", help='how long; left out, "30 min"')
    parser.add_argument("--why", default="", help="what it is for, for those who read the log")
    parser.add_argument("--end", action="store_true", help="end it now")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    rules = [known_rule(site, name) for name in arguments.rules]
    real = [rule.id for rule in site.plan.rules if rule.never_suppressed and (not rules or rule.id in rules)]
    if rules and not arguments.end and set(rules) <= set(real):
        raise SettingError(f"{', '.join(rules)} is never suppressed, so its alarms are always real; drill another rule")
    until = SystemClock().now() if arguments.end else ends_after(site, arguments.length, LONGEST[ActKind.DRILL])
    data = {"rules": ",".join(rules)} if rules else {}
    act = hand_over(arguments, site, ActKind.DRILL, until=until, text=arguments.why, data=data)
    if arguments.end:
        tell(arguments, [act], f"{act.who} ends the drill")
    else:
        more = [f"always real, and told as such: {', '.join(real)}"] if real else []
        drilled = ", ".join(rules) or "all rules"
        tell(arguments, [act], f"{act.who} begins a drill of {drilled} until {shown_end(site, until)}", *more)
    return 0
