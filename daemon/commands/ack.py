"""Who has seen an alarm, so that nobody else is called for it?"""

from __future__ import annotations

import argparse
import getpass

from daemon.arguments import site_argument
from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.site.located import nearest
from daemon.store import hand_in
from rules.acts import Act, ActKind
from rules.errors import SettingError

EXAMPLE = "tidebed ack loop.stopped --note 'spare pump is in'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RULE, --side, --site, --who, --note."""
    parser.add_argument("rule", metavar="RULE", nargs="?", help="the rule; left out, every alarm that stands")
    parser.add_argument("--side", help="only this side, as in high")
    parser.add_argument("--who", default=None, help="who you are; left out, your login name")
    parser.add_argument("--note", default="", help="what you saw or did")
    parser.add_argument("--site", dest="site", default=None, metavar="SITE", help="the site file")


def run(arguments: argparse.Namespace) -> int:
    """Hand the act to the running daemon; it takes it within a second or so."""
    path = arguments.site
    if path is None:
        parser = argparse.ArgumentParser()
        site_argument(parser)
        path = parser.parse_args([]).site
    site = load_site(path)
    rules = [rule.id for rule in site.plan.rules]
    if arguments.rule is not None and arguments.rule not in rules:
        raise SettingError(f"there is no rule {arguments.rule!r}; {nearest(arguments.rule, rules, kind='rules')}")
    who = arguments.who or getpass.getuser()
    act = Act(SystemClock().now(), ActKind.ACKNOWLEDGE, who, arguments.rule, arguments.side, text=arguments.note)
    hand_in(site.store_path, act)
    print(f"handed in: {who} has seen {arguments.rule or 'every alarm that stands'}")
    return 0
