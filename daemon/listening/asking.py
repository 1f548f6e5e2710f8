"""What does the keeper call each place, and what does it measure?"""

from __future__ import annotations

import sys
from collections.abc import Collection
from decimal import Decimal, InvalidOperation
from typing import NamedTuple

from daemon.listening.guess import Guess
from daemon.listening.heard import Place
from daemon.listening.naming import is_id
from daemon.listening.shown import described, plain
from rules.errors import SettingError, UnitError
from rules.quantities import QUANTITIES
from rules.units import UNITS, parse_unit

HOW = """
For each, press Enter to take what stands in brackets, or type
  NAME                          to call it otherwise, as in tank.temperature
  NAME QUANTITY UNIT            to say what it is, as in tank.level level cm
  NAME QUANTITY UNIT FACTOR     where its numbers must be multiplied (registers), as in tank.level level mm 0.1
  -                             to leave it out
  ?                             to see all quantities
"""

_MOST_UNITS = 8


class Answer(NamedTuple):
    """What the keeper said of a place."""

    name: str
    place: Place
    guess: Guess


def answer_of(line: str, place: Place, name: str, guess: Guess | None, taken: Collection[str]) -> Answer | None:
    """What a typed line says; None to leave the place out.

    name, guess: what an empty line takes. Raises SettingError, which says what to type.
    """
    words = line.split()
    if words == ["-"] or (not words and guess is None):
        return None
    wanted = words[0] if words else name
    if not is_id(wanted):
        raise SettingError(
            "a name has small letters, digits and _, with dots between its parts, as in tank.temperature"
        )
    if wanted in taken:
        raise SettingError(f"{wanted} is taken")
    if len(words) > 4:
        raise SettingError("at most a name, a quantity, a unit and a factor")
    if len(words) == 4:
        place = place.times_factor(_factor(words[3], place))
    if len(words) > 1:
        guess = _told(words[1], words[2] if len(words) > 2 else None, place.unit)
    if guess is None:
        raise SettingError(f"what does it measure? Type it as in {wanted} level cm; ? shows all quantities")
    return Answer(wanted, place, guess)


def _told(quantity: str, unit: str | None, sent: str | None) -> Guess:
    kind = QUANTITIES.get(quantity)
    if kind is None:
        raise SettingError(f"{quantity} is no quantity; ? shows all")
    if sent is not None and parse_unit(sent).dimension != parse_unit(kind.unit).dimension:
        raise SettingError(f"it is sent in {sent}, which is no unit of {quantity}")
    unit = unit or sent or kind.unit
    try:
        found = parse_unit(unit)
    except UnitError as error:
        raise SettingError(str(error)) from None
    if found.dimension != parse_unit(kind.unit).dimension:
        raise SettingError(f"{quantity} is not measured in {unit}; one of its units is {kind.unit}")
    return Guess(quantity, unit, "as you said", told=True)


def _units_of(quantity: str) -> str:
    own = QUANTITIES[quantity].unit
    kind = parse_unit(own).dimension
    others = [symbol for symbol, unit in UNITS.items() if unit.dimension == kind and symbol != own]
    return ", ".join([own, *others[:_MOST_UNITS]])


def _factor(text: str, place: Place) -> Decimal:
    if "address" not in place.how:
        raise SettingError("a factor is for registers alone; here write the unit that its numbers have")
    try:
        factor = Decimal(text)
    except InvalidOperation:
        factor = Decimal(0)
    if not factor.is_finite() or not factor or abs(factor.adjusted()) > 9:
        raise SettingError(f"{text} is no factor; write it as 0.1")
    return factor


def ask(place: Place, name: str, guess: Guess | None, taken: Collection[str], which: str) -> Answer | None:
    """Ask until the answer can be used. which: as in `2 of 7`. Raises SettingError where nobody answers."""
    print(f"\n{which}  {described(place, guess)}")
    while True:
        bracket = "- leave it out" if guess is None else name
        print(f"  name [{bracket}]: ", end="", flush=True)
        line = sys.stdin.readline()
        if not line:
            raise SettingError("the questions were not answered; with --yes all guesses are taken")
        if line.strip() == "?":
            print("\n".join(f"    {quantity:<20} in {_units_of(quantity)}" for quantity in QUANTITIES))
            continue
        try:
            return answer_of(plain(line.strip()), place, name, guess, taken)
        except SettingError as error:
            print(f"  {error}")
