"""What can be heard from a broker, a serial port or the kernel's sensors, and which site file fits it?"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.arguments import json_argument
from rules.durations import parse_duration
from rules.errors import SettingError

if TYPE_CHECKING:
    from daemon.listening.guess import Guess
    from daemon.listening.heard import Place

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
    parser.add_argument("--baud", type=int, default=9600, help="of a serial port (9600)")
    parser.add_argument("--username", help="for the broker")
    parser.add_argument("--password-file", type=Path, help="a file that holds the broker's password alone")
    parser.add_argument("--topic", default="#", help="topic filter to listen to (#: all)")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: the file is written; 1: nothing was heard that could be guessed."""
    from daemon.listening.guess import guess
    from daemon.listening.heard import Heard
    from daemon.listening.naming import name_for
    from daemon.listening.site_text import Named, site_text
    from daemon.listening.sources import source_of
    from daemon.site.load import site_from_text

    out: Path = arguments.out
    if out.exists():
        raise SettingError(f"{out} is there already; name another file with --out, or move it away")
    seconds = parse_duration(arguments.length) / 1000
    source = source_of(
        arguments.where,
        baud=arguments.baud,
        username=arguments.username,
        password_file=arguments.password_file,
        topic=arguments.topic,
    )
    heard = Heard()

    def tell(place: Place) -> None:
        if not arguments.json:
            print(f"heard {_plain(place.address)}: {place.values[-1]}{_with(place.unit)}", flush=True)

    if not arguments.json:
        print(f"listening to {arguments.where} for {arguments.length} (Ctrl-C ends it earlier)", flush=True)
    try:
        source.listen(heard, tell, seconds)
    except KeyboardInterrupt:
        print()
    guesses = {place.address: guess(place) for place in heard.places.values()}
    for place in heard.places.values():
        _show(place, guesses[place.address], as_json=arguments.json)
    for address, text in heard.what_not.items():
        if not arguments.json:
            print(f"  {_plain(address)}: {_plain(text)!r} holds no number")
    points: list[Named] = []
    unknown: list[Place] = []
    for place in heard.places.values():
        found = guesses[place.address]
        if found is None:
            unknown.append(place)
            continue
        name = name_for(place.address, [point.id for point in points])
        if not arguments.yes:
            name = _asked(place, name, [point.id for point in points])
        if name:
            points.append(Named(name, place, found))
    if not points:
        print(f"nothing was heard in {arguments.length} that could be guessed; no file is written", file=sys.stderr)
        return 1
    text = site_text(
        points,
        unknown,
        source.adapter(),
        source.entries,
        name=arguments.name,
        timezone=arguments.timezone or _timezone(),
        listened=seconds,
    )
    site = site_from_text(text, out)
    with out.open("x", encoding="utf-8") as file:
        file.write(text)
    told = f"{out}: {len(points)} points, {len(site.plan.rules)} rules"
    print(json.dumps({"file": str(out), "points": len(points), "rules": len(site.plan.rules)}) if arguments.json
          else f"\n{told}. Look at the guesses in it, then: tidebed check {out}; tidebed run {out}")  # fmt: skip
    return 0


def _show(place: Place, found: Guess | None, *, as_json: bool) -> None:
    if as_json:
        record = {
            "address": place.address,
            "values": len(place.values),
            "last": str(place.values[-1]),
            "decimals": place.places,
            "interval_s": place.interval,
            "quantity": None if found is None else found.quantity,
            "unit": None if found is None else found.unit,
            "why": None if found is None else found.why,
        }
        print(json.dumps(record, ensure_ascii=False))
        return
    every = "once" if place.interval is None else f"every {place.interval:.3g} s"
    fine = f"to {place.places} decimals" if place.places else "whole numbers"
    guessed = "no guess" if found is None else f"{found.quantity} in {found.unit}: {found.why}"
    print(f"  {_plain(place.address)}: {place.values[-1]}, {every}, {fine}; {guessed}")


def _asked(place: Place, name: str, taken: Sequence[str]) -> str:
    """The id that the keeper wants; empty to leave the place out."""
    from daemon.listening.naming import is_id

    while True:
        print(
            f"{_plain(place.address)} ({place.values[-1]}): name [{name}], or - to leave it out: ", end="", flush=True
        )
        line = sys.stdin.readline()
        if not line:
            raise SettingError("the questions were not answered; with --yes all guesses are taken")
        wanted = line.strip() or name
        if wanted == "-":
            return ""
        if not is_id(wanted):
            print("  a name has small letters, digits and _, with dots between its parts, as in tank.temperature")
        elif wanted in taken:
            print(f"  {wanted} is taken")
        else:
            return wanted


def _with(unit: str | None) -> str:
    return "" if unit is None else f" {unit}"


def _plain(text: str) -> str:
    return "".join(char if char.isprintable() else "?" for char in text)


def _timezone() -> str:
    """This computer's, by its name; UTC where it has none."""
    from zoneinfo import available_timezones

    try:
        name = os.readlink("/etc/localtime").partition("zoneinfo/")[2]
    except OSError:
        name = ""
    return name if name in available_timezones() else "UTC"
