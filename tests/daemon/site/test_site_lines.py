"""Is the line that is told for a key the line on which it stands?"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from daemon.site.lines import Path, key_lines, paths


def lines_of(text: str) -> dict[Path, int]:
    return key_lines(text, tomllib.loads(text))


EVERY_FORM = '''\
# a comment with [brackets] and key = 1
title = "a # no comment"

[site]
name = """first
second = 2
"""
display = { temperature = "degF", volume = "gal" }   # inline

[[point]]
id = 'tank.temperature'
"quoted key" = 1
dotted.key.deep = 3

[[point]]   # the second
id = "bed1.level"

  [[point.note]]
  text = \'\'\'it''s\'\'\'
  [[point.note]]
  text = "\\"#"

[[rule]]
evidence = [
  { point = "a", under = 1 },   # one
  # none
  { point = "b", over = [
    2, ] } ,
  ["x", "y"],
]
when = 2026-04-03 02:14:30

[adapter.mqtt]
host = "127.0.0.1"
[adapter]
later = true
'''


def test_every_form_of_key_is_found_on_its_line() -> None:
    """Tables, arrays of tables, inline and multi-line values, dotted and quoted keys, comments."""
    found = lines_of(EVERY_FORM)
    assert {
        path: found[path]
        for path in (
            ("title",),
            ("site",),
            ("site", "name"),
            ("site", "display", "volume"),
            ("point",),
            ("point", 0, "id"),
            ("point", 0, "quoted key"),
            ("point", 0, "dotted", "key", "deep"),
            ("point", 1),
            ("point", 1, "note", 0, "text"),
            ("point", 1, "note", 1),
            ("rule", 0, "evidence", 0, "under"),
            ("rule", 0, "evidence", 1),
            ("rule", 0, "evidence", 1, "over"),
            ("rule", 0, "evidence", 1, "over", 0),
            ("rule", 0, "evidence", 2, 1),
            ("rule", 0, "when"),
            ("adapter", "mqtt", "host"),
            ("adapter",),
            ("adapter", "later"),
        )
    } == {
        ("title",): 2,
        ("site",): 4,
        ("site", "name"): 5,
        ("site", "display", "volume"): 8,
        ("point",): 10,
        ("point", 0, "id"): 11,
        ("point", 0, "quoted key"): 12,
        ("point", 0, "dotted", "key", "deep"): 13,
        ("point", 1): 15,
        ("point", 1, "note", 0, "text"): 19,
        ("point", 1, "note", 1): 20,
        ("rule", 0, "evidence", 0, "under"): 25,
        ("rule", 0, "evidence", 1): 27,
        ("rule", 0, "evidence", 1, "over"): 27,
        ("rule", 0, "evidence", 1, "over", 0): 28,
        ("rule", 0, "evidence", 2, 1): 29,
        ("rule", 0, "when"): 31,
        ("adapter", "mqtt", "host"): 34,
        ("adapter",): 35,
        ("adapter", "later"): 36,
    }


def test_windows_line_ends_do_not_shift_lines() -> None:
    """A file with CR LF gives the same lines."""
    assert lines_of(EVERY_FORM.replace("\n", "\r\n")) == lines_of(EVERY_FORM)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# only a comment",
        'a = """"""',
        'a = """""two""""" # "\nb = 1',
        "a = ''''one''''\nb = 1",
        'a = "\\\\"\nb = 1',
        'a = """\\\n  x"""\nb = [[], [{}], {}]',
        "a.b.c = 1\na.b.d = 2\n[x.y.z]\n[x.y]\nk = 0",
        "[[a]]\n[a.b]\nc = 1\n[[a.d]]\n[[a.d]]\n[[a]]\n[[a.d]]\ne = {f.g = 1}",
        '"" = 1\n"\\u00e9" = 2\n\'a.b\' = 3',
        "a = 1979-05-27T07:32:00Z\nb = 07:32:00\nc = [1,\n2,]\nd = -inf",
    ],
)
def test_odd_but_valid_texts_are_walked_whole(text: str) -> None:
    """Exactly the keys that the parser finds are found, however odd the text."""
    data = tomllib.loads(text)
    assert set(lines_of(text)) == set(paths(data))


def test_where_walk_and_parser_disagree_no_line_is_told() -> None:
    """A line is right or absent: data of another text yields none."""
    assert key_lines("a = 1", {"a": 1, "b": 2}) == {}
    assert key_lines('a = "unended', {"a": "unended"}) == {}


KEYS = st.one_of(
    st.text("abcdefghijklmnopqrstuvwxyz0123456789_-", min_size=1, max_size=6), st.sampled_from(["a.b", "é", "a b", ""])
)
SCALARS = st.one_of(
    st.integers(-1000, 1000),
    st.booleans(),
    st.text(st.sampled_from("ab #[]{}=,.'\"\\\n"), max_size=8),
    st.datetimes(),
    st.floats(allow_nan=False),
)
VALUES = st.recursive(
    SCALARS,
    lambda below: st.one_of(st.lists(below, max_size=3), st.dictionaries(KEYS, below, max_size=3)),
    max_leaves=12,
)


@given(st.dictionaries(KEYS, VALUES, max_size=5), st.randoms())
def test_each_key_of_any_document_stands_on_the_line_told(document: dict[str, Any], chance: Any) -> None:
    """Whatever a writer of TOML writes, every path is found, and its line holds its key."""
    text = tomlkit.dumps(document)
    padded = "\n".join(line + chance.choice(["", "  "]) if line.startswith("[") else line for line in text.split("\n"))
    for written in (text, "# head\n\n" + padded):
        data = tomllib.loads(written)
        found = lines_of(written)
        assert set(found) == set(paths(data))
        rows = written.split("\n")
        for path, line in found.items():
            if isinstance(path[-1], str) and path[-1].isalnum():
                assert path[-1] in rows[line - 1]
