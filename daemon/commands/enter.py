"""I have done or seen something: write it into the daemon's log."""

from __future__ import annotations

import argparse
import getpass
import os
import re

from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store import hand_in
from rules.acts import Act, ActKind
from rules.errors import SettingError
from rules.units import exact, parse_unit

EXAMPLE = (
    "tidebed enter --note-kind solids_drained\n"
    '         tidebed enter --note-kind feeding 120 g --note "half of it left"\n'
    "         tidebed enter --note-kind top_up 40 L --who Anna"
)

_KIND = re.compile(r"[a-z0-9_]+")
_USUAL = "feeding, solids_drained, harvest, treatment, cleaning, top_up, calibration, visit"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """--note-kind, AMOUNT, UNIT, --note, --who, --site."""
    parser.add_argument(
        "--note-kind", required=True, metavar="KIND", help=f"what was done: {_USUAL}, or a word of your own"
    )
    parser.add_argument("amount", metavar="AMOUNT", nargs="?", help="how much, as of feed or of topped-up water")
    parser.add_argument("unit", metavar="UNIT", nargs="?", help="its unit, as in g or L")
    parser.add_argument("--note", default="", metavar="TEXT", help="anything else worth remembering")
    parser.add_argument("--who", default=None, help="who you are; left out, your login name")
    site = os.environ.get("TIDEBED_SITE", "site.toml")
    parser.add_argument("--site", default=site, metavar="SITE", help="the site file")


def run(arguments: argparse.Namespace) -> int:
    """Hand the note to the running daemon; it takes it within a second or so, dated then."""
    kind = arguments.note_kind
    if not _KIND.fullmatch(kind):
        raise SettingError(f"--note-kind {kind!r} is no kind; write a word of small letters, digits and _: {_USUAL}")
    data = {"kind": kind} | _amount(arguments.amount, arguments.unit)
    site = load_site(arguments.site)
    who = arguments.who or getpass.getuser()
    hand_in(site.store_path, Act(SystemClock().now(), ActKind.NOTE, who, text=arguments.note, data=data))
    amount = f" {data['amount']} {data['unit']}" if "amount" in data else ""
    print(f"handed in: {kind}{amount}, by {who}")
    return 0


def _amount(amount: str | None, unit: str | None) -> dict[str, str]:
    """As data of the note; raises ValueRefused, UnitError, SettingError."""
    if amount is None:
        return {}
    if unit is None:
        raise SettingError(f"{amount} of what? write a unit after it, as in {amount} g")
    exact(amount)
    return {"amount": amount, "unit": parse_unit(unit).symbol}
