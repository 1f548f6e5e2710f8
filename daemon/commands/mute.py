"""Which alarms should tell nobody for a while, though they are on the screen and in the log?"""

from __future__ import annotations

import argparse

from daemon.clock import SystemClock
from daemon.handing_in import ends_after, hand_over, known_point, known_rule, shown_end, site_of, who_arguments
from rules.acts import ActKind
from rules.durations import HOUR
from rules.errors import SettingError

EXAMPLE = (
    'tidebed mute bed2.cycle bed2.level --for "1 h" --why "cleaning bed 2"\n'
    '         tidebed mute --point tank.oxygen --for "20 min" --why "probe is being calibrated"\n'
    "         tidebed mute --end"
)

LONGEST = 12 * HOUR


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE..., --point, --for, --why, --end, --who, --site."""
    parser.add_argument("rules", metavar="RULE", nargs="*", help="the rules that are meant")
    parser.add_argument(
        "--point", dest="points", action="append", default=[], help="every rule that looks at this point; repeatable"
    )
    parser.add_argument("--for", dest="length", metavar="TIME", help='how long, as in "1 h"; 12 h at most')
    parser.add_argument("--why", default="", help="the reason, for those who read the log")
    parser.add_argument("--end", action="store_true", help="end it now: for the rules named, or for all")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    rules = [known_rule(site, name) for name in arguments.rules]
    points = [known_point(site, name) for name in arguments.points]
    data = {name: ",".join(found) for name, found in (("rules", rules), ("points", points)) if found}
    meant = ", ".join([*rules, *(f"what looks at {point}" for point in points)])
    if arguments.end:
        # An end that does not lie ahead ends what is running.
        who = hand_over(arguments, site, ActKind.MUTE, until=SystemClock().now(), text=arguments.why, data=data)
        print(f"handed in: {who} ends the muting of {meant or 'everything'}")
        return 0
    if not data:
        raise SettingError("nothing is named; write the rules, or --point POINT")
    if arguments.length is None or not arguments.why:
        raise SettingError('a mute has an end and a reason; write --for "1 h" --why "..."')
    until = ends_after(arguments.length, LONGEST)
    who = hand_over(arguments, site, ActKind.MUTE, until=until, text=arguments.why, data=data)
    print(f"handed in: {who} mutes {meant} until {shown_end(site, until)}; a rule that is never suppressed goes on")
    return 0
