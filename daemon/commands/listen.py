"""What can be heard from a broker, a serial port or the kernel's sensors, and which site file fits it?"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.arguments import json_argument
from rules.durations import parse_duration
from rules.errors import SettingError

if TYPE_CHECKING:
    from daemon.listening.guess import Guess
    from daemon.listening.heard import Heard, Place
    from daemon.listening.site_text import Named
    from daemon.listening.sources import Source
    from daemon.site.load import Site

EXAMPLE = 'tidebed listen localhost --for "60 s" --yes --out site.toml'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """WHERE, how long, and what to write."""
    parser.add_argument(
        "where",
        metavar="BROKER|PORT|SYSFS",
        help="a broker as HOST or HOST:PORT, a serial port such as /dev/serial/by-id/..., or a folder such as /sys",
    )
    parser.add_argument("--for", dest="length", default="60 s", metavar="TIME", help='how long to listen ("60 s")')
    parser.add_argument("--yes", action="store_true", help="take all guesses without asking")
    parser.add_argument("--out", type=Path, default=Path("site.toml"), help="the file to write (site.toml)")
    parser.add_argument("--name", default="Greenhouse", help="what the place is called")
    parser.add_argument("--timezone", help="IANA time zone, as in Europe/Dublin; left out, this computer's")
    broker = parser.add_argument_group("a broker")
    broker.add_argument("--username", help="for the broker")
    broker.add_argument("--password-file", type=Path, help="a file that holds the broker's password alone")
    broker.add_argument("--topic", default="#", help="topic filter to listen to (#: all)")
    broker.add_argument("--tls", action="store_true", help="speak TLS, on port 8883 unless another is given")
    broker.add_argument("--ca-file", type=Path, help="certificates to trust, in PEM; left out, the system's")
    port = parser.add_argument_group("a port: boards that write lines are heard; the others must be asked")
    port.add_argument("--baud", type=int, help="of a serial port (9600; SDI-12: 1200, then 9600)")
    port.add_argument(
        "--sdi12", nargs="?", const="0-9", metavar="ADDRESSES", help="ask for SDI-12 probes at these addresses (0-9)"
    )
    port.add_argument(
        "--modbus", metavar="UNITS", help="read Modbus devices 1-10, say, of a serial port or of HOST:PORT; reads only"
    )
    port.add_argument("--registers", default="0-15", help="the Modbus registers to read (0-15)")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: the file is written; 1: nothing was heard that could be guessed."""
    from daemon.listening.heard import Heard
    from daemon.listening.site_text import site_text
    from daemon.listening.where import source_of
    from daemon.site.load import site_from_text

    out: Path = arguments.out
    if out.exists():
        raise SettingError(f"{out} is there already; name another file with --out, or move it away")
    seconds = parse_duration(arguments.length) / 1000
    source = source_of(arguments.where, arguments)
    heard = Heard()
    _listen(source, heard, seconds, arguments)
    points, unknown = _chosen(heard, arguments)
    if not points:
        _tell_nothing(heard, arguments)
        return 1
    text = site_text(
        points,
        unknown,
        source.adapter(),
        source.entries,
        name=arguments.name,
        timezone=arguments.timezone or _timezone(),
        listened=seconds,
        polled=source.polled,
    )
    site = site_from_text(text, out)
    with out.open("x", encoding="utf-8") as file:
        file.write(text)
    if arguments.json:
        print(json.dumps({"file": str(out), "points": len(points), "rules": len(site.plan.rules)}))
    else:
        _tell_next(out, site)
    return 0


def _listen(source: Source, heard: Heard, seconds: float, arguments: argparse.Namespace) -> None:
    """Hear, and show it: a table that moves on a screen, a line for each new place elsewhere."""
    from daemon.listening.shown import described, plain, table_of, with_unit

    def tell(place: Place) -> None:
        if not (arguments.json or sys.stdout.isatty()):
            print(f"heard {plain(place.address)}: {with_unit(place)}", flush=True)

    if not arguments.json:
        print(f"listening to {arguments.where} for {arguments.length} (Ctrl-C ends it earlier)", flush=True)
    try:
        if sys.stdout.isatty() and not arguments.json:
            from rich.live import Live

            until = time.monotonic() + seconds
            with Live(
                get_renderable=lambda: table_of(heard, until - time.monotonic()), refresh_per_second=2, transient=True
            ):
                source.listen(heard, tell, seconds)
        else:
            source.listen(heard, tell, seconds)
    except KeyboardInterrupt:
        print()
    from daemon.listening.guess import guess

    for place in heard.places.values():
        if arguments.json:
            print(json.dumps(_record(place, guess(place)), ensure_ascii=False))
        elif arguments.yes:
            print(f"  {described(place, guess(place))}")
    for address, text in heard.what_not.items():
        if not arguments.json:
            print(f"  {plain(address)}: {plain(text)!r} holds no number")
    if heard.left_out and not arguments.json:
        print(f"  {heard.left_out} more values came from more places than are looked at; narrow it with --topic")


def _chosen(heard: Heard, arguments: argparse.Namespace) -> tuple[list[Named], list[Place]]:
    """(what becomes a point, what is only mentioned), by the guesses or by the keeper."""
    from daemon.listening.asking import HOW, ask
    from daemon.listening.guess import guess
    from daemon.listening.naming import name_for
    from daemon.listening.site_text import Named

    points: list[Named] = []
    unknown: list[Place] = []
    if heard.places and not arguments.yes:
        print(HOW)
    for at, place in enumerate(heard.places.values(), start=1):
        found = guess(place)
        taken = [point.id for point in points]
        name = name_for(place.address, taken)
        if not arguments.yes:
            answer = ask(place, name, found, taken, f"{at} of {len(heard.places)}")
            if answer is not None:
                points.append(Named(*answer))
            elif found is None:
                unknown.append(place)
        elif found is None:
            unknown.append(place)
        else:
            points.append(Named(name, place, found))
    return points, unknown


def _tell_nothing(heard: Heard, arguments: argparse.Namespace) -> None:
    why = f"nothing was heard in {arguments.length} that could be guessed"
    if heard.places:
        why += "; without --yes you can say what each is"
    elif arguments.where.startswith("/") and arguments.sdi12 is None and arguments.modbus is None:
        why += (
            "; is --baud right? Probes that must be asked say nothing by themselves: try --sdi12 for an SDI-12 bus, or"
            " --modbus 1-10 for Modbus (both speak on the wire)"
        )
    print(f"{why}; no file is written", file=sys.stderr)


def _tell_next(out: Path, site: Site) -> None:
    from rules.conditions.stopped import StoppedSettings

    stopped = next((rule.id for rule in site.plan.rules if isinstance(rule, StoppedSettings)), None)
    told = f"\n{out}: {_counted(len(site.plan.points), 'point')}, {_counted(len(site.plan.rules), 'rule')}"
    print(told + (f", {stopped} among them" if stopped else ""))
    if stopped is None:
        print("  Nothing in it tells when the water stops: no flow, pump current or bed level was heard.")
    print(
        f"Next:\n"
        f"  look at its guesses and limits, then   tidebed check {out}\n"
        f"  watch                                  tidebed run {out}\n"
        f"  in a second window                     tidebed now {out}\n"
        f"  your phone: its address in secrets.toml (the end of the file says how), then   tidebed notify-test {out}\n"
        f"  when an alarm has come and you saw it  tidebed ack {stopped or 'RULE'} --site {out}"
    )


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")


def _record(place: Place, found: Guess | None) -> dict[str, object]:
    return {
        "address": place.address,
        "values": len(place.values),
        "last": str(place.values[-1]),
        "decimals": place.places,
        "interval_s": place.interval,
        "quantity": None if found is None else found.quantity,
        "unit": None if found is None else found.unit,
        "why": None if found is None else found.why,
    }


def _timezone() -> str:
    """This computer's, by its name; UTC where it has none."""
    from zoneinfo import available_timezones

    try:
        name = os.readlink("/etc/localtime").partition("zoneinfo/")[2]
    except OSError:
        name = ""
    return name if name in available_timezones() else "UTC"
