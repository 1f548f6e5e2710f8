"""Can a link be made by nobody but the daemon, for one message, and for a while?"""

from __future__ import annotations

import base64
import hashlib
import hmac
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.replies.key import SIZE, KeyUnusable, key_path, link_key
from daemon.replies.links import make_token, read_token

KEY = bytes(range(32))


@given(st.integers(0, 10**9), st.text(max_size=40), st.integers(0, 10**13))
def test_a_token_is_read_as_it_was_made(number: int, message_id: str, end: int) -> None:
    """Number and end (in whole seconds) come back, and it is signed for that message alone."""
    token = read_token(make_token(KEY, number, message_id, end))
    assert token is not None
    assert (token.number, token.end) == (number, end // 1000 * 1000)
    assert token.is_signed(KEY, message_id)
    assert not token.is_signed(KEY, message_id + "x")
    assert not token.is_signed(KEY[::-1], message_id)


def test_any_change_of_a_token_is_seen() -> None:
    """Another number, another end, another signature."""
    token = read_token(make_token(KEY, 7, "m", 1_000_000))
    assert token is not None
    for changed in (
        token._replace(number=8),
        token._replace(end=2_000_000),
        token._replace(mac="A" * 22),
    ):
        assert not changed.is_signed(KEY, "m")


def test_the_signature_is_hmac_sha_256_cut_to_half() -> None:
    """RFC 2104 with SHA-256; section 5: at least half of the digest. Worked out here with the standard library."""
    whole = hmac.new(KEY, b"acknowledge\n7\n1000\nm", hashlib.sha256).digest()
    token = read_token(make_token(KEY, 7, "m", 1_000_000))
    assert token is not None
    assert base64.urlsafe_b64decode(token.mac + "==") == whole[:16]


@pytest.mark.parametrize(
    "text", ["", "7", "7.rs", "7.rs.short", "7.rs." + "A" * 23, "-1.rs." + "A" * 22, "é.rs." + "A" * 22]
)
def test_what_has_not_the_form_of_a_token_is_none(text: str) -> None:
    """Nothing is looked up for it."""
    assert read_token(text) is None


def test_the_key_is_made_once_and_only_its_owner_may_read_it(tmp_path: Path) -> None:
    """Beside the store, 32 bytes, mode 0600, no part file left behind."""
    store = tmp_path / "tidebed.sqlite"
    key = link_key(store)
    assert len(key) == SIZE
    assert link_key(store) == key
    assert stat.S_IMODE(key_path(store).stat().st_mode) == 0o600
    assert [file.name for file in tmp_path.iterdir()] == ["tidebed.sqlite.link-key"]


def test_a_key_that_others_may_read_is_refused(tmp_path: Path) -> None:
    """With how to mend it, and without the key."""
    store = tmp_path / "tidebed.sqlite"
    key = link_key(store)
    key_path(store).chmod(0o640)
    with pytest.raises(KeyUnusable, match="others may read") as told:
        link_key(store)
    assert key.hex() not in str(told.value)


def test_a_damaged_key_is_refused(tmp_path: Path) -> None:
    """It is not made longer or shorter on the quiet."""
    store = tmp_path / "tidebed.sqlite"
    link_key(store)
    key_path(store).write_bytes(b"short")
    with pytest.raises(KeyUnusable, match="damaged"):
        link_key(store)
