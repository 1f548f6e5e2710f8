"""Which alarms should tell nobody for a while, though they are on the screen and in the log?"""

from __future__ import annotations

import argparse

from daemon.clock import SystemClock
from daemon.handing_in import ends_after, hand_over, known_point, known_rule, shown_end, site_of, tell, who_arguments
from rules.acts import Act, ActKind
from rules.engine import Engine
from rules.errors import SettingError
from rules.standing_orders import LONGEST

EXAMPLE = (
    'tidebed mute bed2.cycle bed2.level --for "1 h" --why "cleaning bed 2"\n'
    '         tidebed mute --point tank.ph --for "20 min" --why "probe is being calibrated"\n'
    "         tidebed mute --end"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE..., --point, --for, --why, --end, --who, --site, --json."""
    parser.add_argument("rules", metavar="RULE", nargs="*", help="the rules that are meant")
    parser.add_argument(
        "--point", dest="points", action="append", default=[], help="every rule that looks at this point; repeatable"
    )
    parser.add_argument("--for", dest="length", metavar="TIME", help='how long, as in "1 h"; 12 h at most')
    parser.add_argument("--why", default="", help="the reason, for those who read the log")
    parser.add_argument("--end", action="store_true", help="end it now: for the rules named, or for all")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon; rules about oxygen, and those never suppressed, go on."""
    site = site_of(arguments)
    rules = [known_rule(site, name) for name in arguments.rules]
    points = [known_point(site, name) for name in arguments.points]
    now = SystemClock().now()
    data = {name: ",".join(found) for name, found in (("rules", rules), ("points", points)) if found}
    meant = ", ".join([*rules, *(f"what looks at {point}" for point in points)])
    if arguments.end:
        # An end that does not lie ahead ends what is running.
        act = hand_over(arguments, site, ActKind.MUTE, until=now, text=arguments.why, data=data)
        tell(arguments, [act], f"{act.who} ends the muting of {meant or 'everything'}")
        return 0
    if not data:
        raise SettingError("nothing is named; write the rules, or --point POINT")
    if arguments.length is None or not arguments.why:
        raise SettingError('a mute has an end and a reason; write --for "1 h" --why "..."')
    until = ends_after(site, arguments.length, LONGEST[ActKind.MUTE])
    orders = Engine(site.plan, now).life.orders
    refused = orders.take(Act(now, ActKind.MUTE, until=until, data=data), 2 * now)
    if refused:
        raise SettingError(f"{refused}; to set one alarm aside all the same, shelve it")
    muted = [rule for mute in orders.mutes for rule in mute.rules]
    loud = [rule for rule in orders.never_muted if rule in rules or orders.rests_on(rule, points)]
    act = hand_over(arguments, site, ActKind.MUTE, until=until, text=arguments.why, data=data)
    more = [f"never muted, and goes on: {', '.join(sorted(loud))}"] if loud else []
    tell(arguments, [act], f"{act.who} mutes {', '.join(muted)} until {shown_end(site, until)}", *more)
    return 0
