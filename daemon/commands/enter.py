"""I have done, seen or measured something: write it into the daemon's log, or as a reading."""

from __future__ import annotations

import argparse
import re

from daemon.clock import SystemClock
from daemon.entries import READING
from daemon.handing_in import hand_over, known_point, tell, who_arguments
from daemon.moments import moment_argument
from daemon.site.load import Site, load_site
from daemon.store import StoreReader
from rules.acts import ActKind
from rules.errors import SettingError
from rules.units import convert, exact, parse_unit, split_amount

EXAMPLE = (
    "tidebed enter tank.total_ammonia 0.5 mg/L --at 07:30 --note 'test kit'\n"
    "         tidebed enter --note-kind solids_drained\n"
    '         tidebed enter --note-kind feeding 120 g --note "half of it left"'
)

_KIND = re.compile(r"[a-z0-9_]+")
_USUAL = "feeding, solids_drained, harvest, treatment, cleaning, top_up, visit"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """WHAT..., --note-kind, --at, --note, --who, --site, --json."""
    parser.add_argument(
        "what",
        metavar="POINT VALUE [UNIT] | AMOUNT UNIT",
        nargs="*",
        help="a reading by hand: the point, what was read, and its unit; with --note-kind how much, as of feed",
    )
    parser.add_argument("--note-kind", metavar="KIND", help=f"what was done: {_USUAL}, or a word of your own")
    parser.add_argument("--at", metavar="T", help="when a reading was taken; left out, now")
    parser.add_argument("--note", default="", metavar="TEXT", help="anything else worth remembering")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Hand it to the running daemon, which takes it within a second or so."""
    site = load_site(arguments.site)
    if arguments.note_kind is None:
        return _reading(arguments, site)
    kind = arguments.note_kind
    if not _KIND.fullmatch(kind):
        raise SettingError(f"--note-kind {kind!r} is no kind; write a word of small letters, digits and _: {_USUAL}")
    if kind == READING:
        raise SettingError(f"--note-kind {READING} is a reading by hand: leave it out, and write POINT VALUE UNIT")
    if arguments.at is not None:
        raise SettingError("--at is for readings; a note is dated when it is handed in")
    data = {"kind": kind} | _amount(arguments.what)
    act = hand_over(arguments, site, ActKind.NOTE, text=arguments.note, data=data)
    amount = f" {data['amount']} {data['unit']}" if "amount" in data else ""
    tell(arguments, [act], f"{kind}{amount}, by {act.who}")
    return 0


def _reading(arguments: argparse.Namespace, site: Site) -> int:
    what = arguments.what
    if not 2 <= len(what) <= 3:
        raise SettingError(
            "write the point, what was read and its unit, as in `tidebed enter tank.total_ammonia 0.5 mg/L`; or "
            f"--note-kind with what was done: {_USUAL}"
        )
    name = known_point(site, what[0])
    point = next((point for point in site.plan.points if point.id == name), None)
    if point is None:
        raise SettingError(f"{name} is worked out from other points; enter those")
    number, symbol = split_amount("".join(what[1:]))
    exact(number or what[1])
    unit = point.units if not symbol else point.kind.accepts(symbol)
    value = convert(exact(number), unit, point.units)
    kind = point.kind
    low, high = (convert(edge, parse_unit(kind.unit), point.units) for edge in (kind.low, kind.high))
    if not low <= value <= high:
        raise SettingError(
            f"{name} = {number} {unit.symbol} cannot be; {kind.name} lies between {float(low):g} and "
            f"{float(high):g} {point.unit}"
        )
    with StoreReader(site.store_path, site.plan.points) as store:
        if store.calibrations().get(name) or point.raw is not point:
            raise SettingError(f"{name} has a probe that is calibrated; give what you read by hand a point of its own")
    data = {"kind": READING, "point": name, "value": number, "unit": unit.symbol}
    at = moment_argument(_today(arguments.at, site), site.plan.timezone, "--at")
    if at is not None:
        if at > SystemClock().now():
            raise SettingError(f"--at {arguments.at} has not come yet; write when it was read")
        data["at"] = str(at)
    act = hand_over(arguments, site, ActKind.NOTE, text=arguments.note, data=data)
    tell(arguments, [act], f"{name} {number} {unit.symbol}, by {act.who}")
    return 0


def _today(text: str | None, site: Site) -> str | None:
    """A time of day alone means today's."""
    if text is None or not re.fullmatch(r"[0-9]{1,2}:[0-9]{2}", text):
        return text
    from rules.local_time import Zone

    return f"{Zone(site.plan.timezone).moment(SystemClock().now()):%Y-%m-%d}T{text.zfill(5)}"


def _amount(found: list[str]) -> dict[str, str]:
    """As data of the note; raises ValueRefused, UnitError, SettingError."""
    if not found:
        return {}
    number, symbol = split_amount("".join(found)) if len(found) < 3 else ("", "")
    if not number:
        raise SettingError(f"{' '.join(found)!r} is no amount; write a number and a unit, as in 120 g")
    if not symbol:
        raise SettingError(f"{number} of what? write a unit after it, as in {number} g, or count for pieces")
    if exact(number) < 0:
        raise SettingError(f"{number} {symbol} is negative; write how much, without a sign")
    unit = parse_unit(symbol).symbol
    return {"amount": number, "unit": "count" if unit == "1" else unit}
