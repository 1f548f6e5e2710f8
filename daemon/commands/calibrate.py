"""A probe was compared with something known: from now on, what does its reading mean?"""

from __future__ import annotations

import argparse
import json
import time

from daemon.calibrating import METHODS, drift, make
from daemon.clock import SystemClock
from daemon.handing_in import hand_over, known_point, who_arguments
from daemon.moments import moment_argument
from daemon.site.load import Site, load_site
from daemon.store import StoreReader
from rules.acts import ActKind
from rules.calibration import Record
from rules.calibrations import data_of
from rules.conditions.overdue import OverdueSettings
from rules.door import as_decimal
from rules.durations import DAY
from rules.errors import SettingError
from rules.events import show_time
from rules.flags import Flag
from rules.local_time import Zone

EXAMPLE = (
    "tidebed calibrate tank.ph two-point 6.9=7.00 4.2=4.01 --note 'fresh buffers'\n"
    "         tidebed calibrate tank.oxygen air 8.6 temperature=21 altitude=120\n"
    "         tidebed calibrate tank.temperature one-point 21.4=21.9\n"
    "         tidebed calibrate tank.ph      (what it shows raw, and its calibrations so far)"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """POINT, METHOD, FOUND..., --at, --note, --who, --site, --json."""
    parser.add_argument(
        "point", metavar="POINT", nargs="?", help="the point; left out, all points that were calibrated"
    )
    parser.add_argument("method", metavar="METHOD", nargs="?", help=f"one of {', '.join(METHODS)}")
    parser.add_argument(
        "found",
        metavar="SHOWN=TRUE",
        nargs="*",
        help="what the probe showed raw, and what was true; for air what it showed, and the day's temperature= and "
        "pressure= or altitude=; for a polynomial its coefficients, the constant first",
    )
    parser.add_argument(
        "--at",
        metavar="T",
        help="from when on it holds; left out, from now. An earlier time changes what a replay makes of stored "
        "readings, not the alarms of then",
    )
    parser.add_argument("--note", default="", metavar="TEXT", help="how it was done, with which buffers")
    who_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: handed in, or listed."""
    site = load_site(arguments.site)
    if arguments.point is None:
        with StoreReader(site.store_path, site.plan.points) as store:
            for name in store.calibrations():
                _list(site, store, name, as_json=arguments.json)
            if not store.calibrations() and not arguments.json:
                print("No point has been calibrated yet; `tidebed calibrate --help` shows how.")
        return 0
    name = known_point(site, arguments.point)
    if name not in {point.id for point in site.plan.points}:
        raise SettingError(f"{name} is worked out from other points; calibrate those")
    with StoreReader(site.store_path, site.plan.points) as store:
        if arguments.method is None:
            _list(site, store, name, as_json=arguments.json)
            return 0
        before = store.calibrations().get(name, [])
    if arguments.method not in METHODS:
        raise SettingError(f"there is no method {arguments.method!r}; write one of {', '.join(METHODS)}")
    at = moment_argument(arguments.at, site.plan.timezone, "--at")
    if at is not None and at > SystemClock().now():
        raise SettingError(f"--at {arguments.at} has not come yet; calibrate when it has")
    point = site.plan.point(name)
    made = make(point, arguments.method, arguments.found, at or 0, arguments.note)
    who = hand_over(arguments, site, ActKind.CALIBRATE, text=arguments.note, data=data_of(name, made.record)).who
    holding = [record for record in before if at is None or record.effective < at]
    last = holding[-1] if holding else None
    remarks = [*made.remarks, *drift(last, made.record, point)]
    if arguments.json:
        print(json.dumps({"point": name, **_line(made.record), "who": who, "remarks": remarks}, ensure_ascii=False))
        return 0
    print(f"handed in: {name}, {arguments.method} {made.record.pairs}, by {who}".replace(" ,", ","))
    for remark in remarks:
        print(f"  {remark}")
    if last is not None:
        print(f"  the last calibration was {_ago(last.effective)}")
    return 0


def _list(site: Site, store: StoreReader, name: str, *, as_json: bool) -> None:
    known = {point.id: point for point in site.plan.points}
    if name not in known:
        return
    point, zone = known[name], Zone(site.plan.timezone)
    records = store.calibrations().get(name, [])
    if as_json:
        for record in records:
            print(json.dumps({"point": name, **_line(record)}, ensure_ascii=False))
        return
    # As the probe sent it, as of a time at which no calibration was known.
    with StoreReader(store.path, [point.raw], as_of=0) as uncalibrated:
        shown = uncalibrated.latest(name)
    print(f"{name} ({point.quantity}, {point.unit})")
    if shown is not None and shown[2] != Flag.MISSING:
        latest = store.latest(name)
        is_known = latest is not None and latest[2] != Flag.MISSING
        means = f", taken as {as_decimal(latest[1], point.resolution)}" if latest is not None and is_known else ""
        print(
            f"  shows raw {as_decimal(shown[1], point.raw.resolution)} {point.raw.unit} at "
            f"{zone.moment(shown[0]):%d %b %H:%M}{means}"
        )
    for record in records:
        note = f" ({record.note})" if record.note else ""
        since = f"{zone.moment(record.effective):%Y-%m-%d %H:%M}"
        print(f"  from {since}: {record.method} {record.pairs} by {record.who}{note}")
    if not records:
        print("  never calibrated")
    for rule in site.plan.rules:
        if isinstance(rule, OverdueSettings) and rule.note in ("calibration", f"calibration {name}"):
            if records:
                print(f"  due {zone.moment(records[-1].entered + rule.every):%Y-%m-%d} (rule {rule.id})")
            else:
                print(f"  due by rule {rule.id}")


def _line(record: Record) -> dict[str, object]:
    return {
        "effective": show_time(record.effective) if record.effective else None,
        "method": record.method,
        "pairs": record.pairs,
        "coefficients": [float(c) for c in record.coefficients],
        "raw_unit": record.raw_unit,
        "unit": record.unit,
        "note": record.note,
    }


def _ago(effective: int) -> str:
    days = (int(time.time() * 1000) - effective) // DAY
    return "today" if days < 1 else f"{days} day{'s' if days > 1 else ''} ago"
