"""Do tables fit the terminal, whatever stands in them?"""

from __future__ import annotations

import io

from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from daemon.bench.tables import print_table


def printed(rows: list[tuple[str, ...]], width: int) -> list[str]:
    """The lines of a table of time, name and reason."""
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False, markup=False)
    print_table(console, ("at", "name", "why"), rows, names="name")
    return out.getvalue().splitlines()


def test_a_narrow_table_is_not_stretched_or_folded() -> None:
    """Two blanks between the columns."""
    assert [line.rstrip() for line in printed([("12:00", "vents", "too warm")], 80)] == [
        "at     name   why",
        "12:00  vents  too warm",
    ]


def test_the_last_column_is_folded_first() -> None:
    """Names stay whole while ten letters are left for the reason."""
    lines = printed([("12:00", "a.name.of.some.length", "because of this and that")], 42)
    assert "a.name.of.some.length" in lines[1]
    assert [line.split() for line in lines[2:]] == [["this", "and"], ["that"]]


_WORDS = st.text(st.sampled_from("abc .[]"), max_size=60)


@given(st.lists(st.tuples(_WORDS, _WORDS, _WORDS), max_size=5), st.integers(30, 120))
def test_no_line_is_wider_than_the_terminal(rows: list[tuple[str, ...]], width: int) -> None:
    """Even with the longest names, and words that look like markup."""
    assert max(len(line) for line in printed(rows, width)) <= width


@given(st.lists(st.tuples(st.just("12:00"), st.text("abc.", max_size=40), st.text("abc", max_size=60)), max_size=4))
def test_nothing_is_lost_in_80_columns(rows: list[tuple[str, ...]]) -> None:
    """Every letter of every cell is printed."""
    text = "".join(printed(rows, 80)[1:])
    assert sorted(text.replace(" ", "")) == sorted("".join("".join(row) for row in rows).replace(" ", ""))
