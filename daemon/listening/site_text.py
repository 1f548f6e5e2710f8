"""Which site file says what was heard? Text with a remark on each guess; `tidebed check` takes it as it is."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

import tomlkit

from daemon.listening.guess import Guess
from daemon.listening.heard import Keys, Place
from daemon.listening.limits import Chosen, rules_of
from daemon.listening.shown import how_often
from rules.door import decimal_places
from rules.durations import SECOND, show_duration
from rules.quantities import QUANTITIES
from rules.units import convert, parse_unit

_STEPS = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21_600, 86_400)
_FEW = 10
_PATIENCE = 30 * SECOND
_FINEST = 9


_WHO = """\
# ---- Who is told ----
# 1. Write the address of keeper_phone into secrets.toml beside this file, under [ways], and chmod 600 it.
# 2. `tidebed notify-test` sends everybody a test.
# 3. An alarm is acknowledged by `tidebed ack RULE`, or by a link in the message where [web] serves one.

[[person]]
id = "keeper"
ways = ["keeper_phone"]
"""


class Named(NamedTuple):
    """A place that becomes a point."""

    id: str
    place: Place
    guess: Guess


class _Probe(NamedTuple):
    """One probe of a bus, how it is asked, and what it says of itself."""

    address: str
    command: str
    identity: str


def quoted(text: str) -> str:
    """`text` as a TOML string."""
    return tomlkit.string(text).as_string()


def expect_every(place: Place, listened: float, polled: float | None = None) -> int:
    """How often a value should come, ms: the interval, or twice the time listened where only one came.

    polled: seconds between two values of a source that says nothing by itself; it is asked so often.
    """
    if polled is not None:
        return round(polled * SECOND)
    wanted = (listened if place.interval is None else place.interval) * (2 if place.interval is None else 0.95)
    return next((step for step in _STEPS if step >= wanted), _STEPS[-1]) * SECOND


def resolution(place: Place, guess: Guess) -> Decimal | None:
    """One step of the finest decimal that was heard; None where the quantity's own does.

    After few values the quantity's own where that is finer, since last zeros may have been left out.
    """
    if guess.quantity == "state":
        return None
    kind, unit = QUANTITIES[guess.quantity], parse_unit(guess.unit)
    own = decimal_places(kind.default_resolution(unit))
    own += 2 * (place.unit == "1" and guess.unit == "%")  # what was sent is a ratio, and two places are its per cent
    sure = len(place.values) >= _FEW or "scale" in place.how  # a register times its factor leaves no zeros out
    places = min(_FINEST, place.places if sure else max(place.places, own))
    step = Decimal(1).scaleb(-places)
    if place.unit == "1" and guess.unit == "%":
        step *= 100
    span = convert(kind.high - kind.low, parse_unit(kind.unit), unit, difference=True)
    return step if Fraction(step) * 10 <= span else None


def site_text(
    points: Sequence[Named],
    unknown: Sequence[Place],
    adapter: Keys,
    entries: str,
    *,
    name: str,
    timezone: str,
    listened: float,
    polled: float | None = None,
) -> str:
    """The file. adapter: the keys of its table, `kind` among them; entries: its list of points, as in `topics`.

    listened: seconds; polled: as for expect_every.
    """
    parts = [
        "# Written by `tidebed listen` from what was heard. Look at each guess, then make the file yours.\n"
        "# `tidebed check` says at once what is wrong in it; `tidebed run` watches by it.\n",
        f"[site]\nname = {quoted(name)}\ntimezone = {quoted(timezone)}\n",
        "# ---- What is measured ----\n",
    ]
    chosen = []
    for point in points:
        every = expect_every(point.place, listened, polled)
        parts.append(_point(point, every))
        place, guess = point.place, point.guess
        kept = polled is None and not place.times
        chosen.append(Chosen(point.id, guess.quantity, guess.unit, place.middle, every, place.address, kept))
    if unknown:
        lines = [f"#   {_printable(place.address)}: {place.values[-1]}" for place in unknown]
        parts.append("# Heard too, but what it measures could not be guessed:\n" + "\n".join(lines) + "\n")
    parts.append("# ---- How readings come in ----\n")
    parts.append(_adapter(points, adapter, entries))
    parts.append("# ---- What is watched: starting values for warm-water fish and tender trees ----\n")
    parts += rules_of(chosen)
    parts.append(_WHO)
    return "\n".join(parts)


def _point(point: Named, every: int) -> str:
    place, guess = point.place, point.guess
    step = resolution(place, guess)
    lines = [
        f"# {_printable(place.address)}: {_times(len(place.values))}, {min(place.values)} to {max(place.values)},"
        f" {how_often(place)}",
        "[[point]]",
        f"id = {quoted(point.id)}",
        f"quantity = {quoted(guess.quantity)}   # {'' if guess.told else 'guessed: '}{_printable(guess.why)}",
        f"unit = {quoted(guess.unit)}",
    ]
    if step is not None:
        lines.append(f"resolution = {step:f}")
    lines.append(f"expect_every = {quoted(show_duration(every))}")
    if 3 * every < _PATIENCE:
        lines.append(f"stale_after = {quoted(show_duration(_PATIENCE))}   # a radio link may well lose a few in a row")
    return "\n".join(lines) + "\n"


def _times(count: int) -> str:
    return "1 value" if count == 1 else f"{count} values"


def _printable(text: str) -> str:
    return "".join(char if char.isprintable() else "?" for char in text)[:200]


def _value(value: str | int | Decimal) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return quoted(value) if isinstance(value, str) else f"{value:f}" if isinstance(value, Decimal) else str(value)


def _adapter(points: Sequence[Named], adapter: Keys, entries: str) -> str:
    kind = str(adapter["kind"])
    lines = [f"[adapter.{kind}]"]
    lines += [f"{key} = {_value(value)}" for key, value in adapter.items() if key != "kind"]
    packs: dict[tuple[str, str], list[str]] = {}
    probes: dict[_Probe, list[str]] = {}
    for point in points:
        how = point.place.how
        if "name" in how:  # the names of all that stands in the packs of one topic are together
            named = f"{quoted(str(how['name']))} = {quoted(point.id)}"
            packs.setdefault((str(how["topic"]), str(how["payload"])), []).append(named)
            continue
        if "probe" in how:  # likewise all values of one probe
            probes.setdefault(_Probe(str(how["probe"]), str(how["command"]), str(how["is"])), []).append(
                f"  {{ point = {quoted(point.id)}, at = {how['at']} }},"
            )
            continue
        lines += ["", f"[[adapter.{kind}.{how.get('list', entries)}]]"]
        lines += [f"{key} = {_value(value)}" for key, value in how.items() if key != "list"]
        lines.append(f"point = {quoted(point.id)}")
    for (topic, payload), names in packs.items():
        lines += ["", f"[[adapter.{kind}.{entries}]]", f"topic = {quoted(topic)}", f"payload = {quoted(payload)}"]
        lines.append(f"names = {{ {', '.join(names)} }}")
    for probe, values in probes.items():
        lines += ["", f"[[adapter.{kind}.{entries}]]", f"address = {quoted(probe.address)}"]
        lines += [f"command = {quoted(probe.command)}", f"is = {quoted(probe.identity)}"]
        lines += ["values = [", *values, "]"]
    return "\n".join(lines) + "\n"
