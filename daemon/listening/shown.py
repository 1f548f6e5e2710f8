"""How is what is heard shown: live as a table on a screen, and in the end a line each?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from daemon.listening.guess import Guess, guess
from daemon.listening.heard import Heard, Place

if TYPE_CHECKING:
    from rich.table import Table

MOST_ROWS = 200
"""A screen shows fewer; sorting the values of thousands twice a second would be for nobody."""


def plain(text: str) -> str:
    """`text` without what a terminal would obey."""
    return "".join(char if char.isprintable() else "?" for char in text)


def how_often(place: Place) -> str:
    """As in `every 10 s`."""
    if not place.times:
        return "kept by the broker"
    return "once" if place.interval is None else f"every {place.interval:.3g} s"


def how_fine(place: Place) -> str:
    """As in `to 0.01`."""
    return f"to {10**-place.places:.{place.places}f}" if place.places else "whole numbers"


def with_unit(place: Place) -> str:
    """The last value, with the unit where the sender says one."""
    return f"{place.values[-1]}" + (f" {place.unit}" if place.unit not in (None, "1") else "")


def guessed(found: Guess | None) -> str:
    """The guess with its reason."""
    return "no guess" if found is None else f"{found.quantity} in {found.unit}: {found.why}"


def described(place: Place, found: Guess | None) -> str:
    """One line of all that is known of a place."""
    told = f"{with_unit(place)}, {how_often(place)}, {how_fine(place)}; {guessed(found)}"
    return f"{plain(place.address)}: {told}"


def table_of(heard: Heard, left: float) -> Table:
    """All places as they stand now. left: seconds that we shall go on listening."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, caption=f"{max(0.0, left):.0f} s left; Ctrl-C ends it earlier")
    for title in ("from", "value", "comes", "fine", "guessed"):
        table.add_column(title, justify="right" if title == "value" else "left")
    places = list(heard.places.values())
    for place in places[:MOST_ROWS]:
        row = (
            plain(place.address),
            with_unit(place),
            how_often(place),
            how_fine(place),
            guessed(guess(place)),
        )
        table.add_row(*map(Text, row))
    for address, text in list(heard.what_not.items())[:MOST_ROWS]:
        if address not in heard.places:
            table.add_row(*map(Text, (plain(address), plain(text), "", "", "no number")), style="dim")
    return table
