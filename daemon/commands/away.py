"""Who is on duty while the keeper is away, and until when?"""

from __future__ import annotations

import argparse

from daemon.clock import SystemClock
from daemon.handing_in import ends_after, hand_over, known_person, shown_end, site_of, tell, time_at, who_arguments
from daemon.moments import moment_argument
from daemon.orders import shown_duty
from daemon.site.load import Site
from rules.acts import ActKind
from rules.errors import SettingError
from rules.standing_orders import LONGEST

EXAMPLE = (
    'tidebed away --on-duty ben --for "7 d" --why "holiday"\n'
    "         tidebed away --on-duty ben,anna --until 2026-08-14T18:00\n"
    "         tidebed away --end"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """--on-duty, --for, --until, --why, --end, --who, --site, --json."""
    parser.description = (
        f"{parser.description}\n\nWho is on duty is told at once of whatever anybody is told of at once, and a second "
        "person with them.\nRepeats and the others come in half the usual time ([messages] away_waits)."
    )
    parser.add_argument("--on-duty", default="", metavar="PERSON,...", help="who stands in, by the site file's ids")
    parser.add_argument("--for", dest="length", metavar="TIME", help='how long, as in "7 d"; 366 d at most')
    parser.add_argument("--until", metavar="T", help="or until when, as in 2026-08-14T18:00")
    parser.add_argument("--why", default="", help="anything that who reads the log should know")
    parser.add_argument("--end", action="store_true", help="the keeper is back")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon."""
    site = site_of(arguments)
    if arguments.end:
        # An end that does not lie ahead ends what is running.
        act = hand_over(arguments, site, ActKind.AWAY, until=SystemClock().now(), text=arguments.why)
        tell(arguments, [act], f"{act.who} says that nobody is away any more")
        return 0
    names = [name.strip() for name in arguments.on_duty.split(",") if name.strip()]
    on_duty = [known_person(site, name) for name in dict.fromkeys(names)]
    if not on_duty:
        raise SettingError("away needs somebody on duty; write --on-duty PERSON, one of the site file's [[person]]")
    until = _end(arguments, site)
    data = {"on_duty": ",".join(on_duty)}
    act = hand_over(arguments, site, ActKind.AWAY, until=until, text=arguments.why, data=data)
    duty = shown_duty(site.plan.persons, on_duty)
    tell(arguments, [act], f"{act.who} is away until {shown_end(site, until)}; {duty}")
    return 0


def _end(arguments: argparse.Namespace, site: Site) -> int:
    """When it ends, ms UTC. Raises SettingError."""
    if (arguments.length is None) == (arguments.until is None):
        raise SettingError('away has an end; write --for "7 d", or --until 2026-08-14T18:00')
    if arguments.length is not None:
        return ends_after(site, arguments.length, LONGEST[ActKind.AWAY])
    until = moment_argument(arguments.until, site.plan.timezone, "--until")
    now = time_at(site)
    if until is None or until <= now:
        raise SettingError(f"--until {arguments.until} does not lie ahead; write the time at which the keeper is back")
    if until > now + LONGEST[ActKind.AWAY]:
        raise SettingError(f"--until {arguments.until} must be at most 366 d from now")
    return until
