"""Does a JSON Pointer find what RFC 6901 says?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.payloads.json_pointer import MISSING, Pointer
from adapters.payloads.json_text import parse_json
from rules.errors import SettingError, ValueRefused

EXAMPLE = rb"""{
   "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
}"""


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_rfc_6901_section_5(pointer: str, value: object) -> None:
    """The examples of RFC 6901 section 5."""
    assert Pointer(pointer).find(parse_json(EXAMPLE)) == value


def test_the_empty_pointer_is_the_whole_document() -> None:
    """RFC 6901 section 5, first example."""
    document = parse_json(EXAMPLE)
    assert Pointer("").find(document) is document


@pytest.mark.parametrize(
    "pointer",
    ["/bar", "/foo/2", "/foo/-", "/foo/01", "/foo/-1", "/foo/+1", "/foo/1.0", "/foo/0/x", "/foo/99999999999999", "//"],
)
def test_what_is_not_there_is_missing(pointer: str) -> None:
    """Absent keys, indices beyond the end, `-`, leading zeros (section 4), and steps into a text find nothing."""
    assert Pointer(pointer).find(parse_json(EXAMPLE)) is MISSING


def test_tilde_zero_one_is_a_tilde_and_a_one() -> None:
    """`~01` is the key `~1` and not `/` (RFC 6901 section 4)."""
    assert Pointer("/~01").find({"~1": "right", "/": "wrong"}) == "right"


@pytest.mark.parametrize("pointer", ["foo", "#/foo", "/~", "/~2", "/a~b"])
def test_what_is_no_pointer_is_a_setting_error(pointer: str) -> None:
    """A pointer begins with `/`, and `~` is followed by 0 or 1."""
    with pytest.raises(SettingError, match="JSON Pointer"):
        Pointer(pointer)


@given(st.text(), st.text())
def test_every_key_can_be_pointed_at(key: str, other: str) -> None:
    """Escaping a key and following the pointer finds its value."""
    escaped = key.replace("~", "~0").replace("/", "~1")
    assert Pointer(f"/x/{escaped}").find({"x": {other: 1, key: 2}}) == 2


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"", "Expecting value"),
        (b"{", "Expecting property"),
        (b"[1,]", "at character"),
        (b"\xff", "not UTF-8 at byte 0"),
        (b"[" * 60000, "nested too deep"),
        (b"[1] 2", "Extra data"),
        (b"[1e99999999999999999999]", "out of all range"),
    ],
)
def test_what_is_no_json_is_refused(text: bytes, told: str) -> None:
    """The reason says what is wrong; deep nesting and huge exponents are no way to crash a daemon."""
    with pytest.raises(ValueRefused, match=told):
        parse_json(text)
