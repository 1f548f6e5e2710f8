"""Does a message look as a locked phone shows it, whatever it holds?"""

from __future__ import annotations

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from daemon.demo.lock_screen import WIDTH, lock_screen

MOMENT = dt.datetime(2026, 4, 3, 2, 13, 12, tzinfo=dt.UTC)


def _rows(title: str, body: str, *, urgent: bool = False) -> list[str]:
    return [row.plain for row in lock_screen(MOMENT, "Keeper", title, body, urgent=urgent)]


def test_it_shows_time_date_owner_title_and_text() -> None:
    """By hand: what stands on each row."""
    assert _rows("Water has stopped", "Flow 0.0 L/min since 02:12. First: is the pump plugged in?", urgent=True) == [
        "╭────────────────────────────────────────╮",
        "│                 02:13                  │",
        "│             Friday 3 April             │",
        "│                                        │",
        "│ Tidebed                         Keeper │",
        "│ ◆ Water has stopped                    │",
        "│ Flow 0.0 L/min since 02:12. First: is  │",
        "│ the pump plugged in?                   │",
        "╰────────────────────────────────────────╯",
    ]


def test_only_what_is_urgent_has_its_mark() -> None:
    """An ordinary message has no diamond."""
    assert _rows("Air is cool", "12 °C")[5] == f"│ {'Air is cool':<{WIDTH}} │"


def test_line_ends_of_the_text_are_kept() -> None:
    """What a sender puts on a line of its own stays there."""
    assert _rows("Title", "One\n(may be a repeat)")[6:8] == [
        f"│ {'One':<{WIDTH}} │",
        f"│ {'(may be a repeat)':<{WIDTH}} │",
    ]


SIGNS = st.one_of(st.characters(), st.sampled_from("水aé \n\t\x1b"))


@given(st.text(SIGNS, max_size=80), st.text(SIGNS, max_size=300), st.text(SIGNS, max_size=60), st.booleans())
def test_no_row_is_wider_than_the_phone(title: str, body: str, owner: str, urgent: bool) -> None:
    """Any title and text fits: long words, letters of two columns, and signs that would move the cursor."""
    rows = [row.plain for row in lock_screen(MOMENT, owner, title, body, urgent=urgent)]
    assert {cell_len(row) for row in rows} == {WIDTH + 4}
    assert all(row.isprintable() for row in rows)


@given(st.lists(st.text("abcdefg水", min_size=1, max_size=60), min_size=1, max_size=40))
def test_no_letter_of_the_text_is_lost(words: list[str]) -> None:
    """All of it is there, in order."""
    rows = _rows("Title", " ".join(words))
    assert "".join(row[2:-2].replace(" ", "") for row in rows[6:-1]) == "".join(words)
