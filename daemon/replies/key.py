"""Where is the key that signs links? In a file of its own beside the store, which only the daemon may read.

It is made at the first start and is no part of the store, so no backup of the store can sign a link.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from pathlib import Path

from rules.errors import TidebedError

SIZE = 32
"""Bytes: as many as the digest of HMAC-SHA-256 has (RFC 2104 section 3)."""


class KeyUnusable(TidebedError):
    """The key's file cannot be made or must not be trusted."""


def key_path(store: Path) -> Path:
    """The key's file, beside the store's."""
    return store.with_name(store.name + ".link-key")


def link_key(store: Path) -> bytes:
    """The key, made where there is none yet. Raises KeyUnusable."""
    path = key_path(store)
    try:
        with contextlib.suppress(FileExistsError):
            _make(path)
        mode = stat.S_IMODE(path.stat().st_mode)
        key = path.read_bytes()
    except OSError as error:
        raise KeyUnusable(f"the key for links, {path}, cannot be used: {error.strerror}; see who owns it") from error
    if mode & 0o077:
        raise KeyUnusable(
            f"others may read the key for links (mode {mode:03o}); delete {path}, and a new one is made that signs "
            "none of the old links"
        )
    if len(key) != SIZE:
        raise KeyUnusable(f"the key for links, {path}, is damaged; delete it, and a new one is made")
    return key


def _make(path: Path) -> None:
    """Whole or not at all: a power cut must not leave half a key."""
    if path.exists():
        return
    part = path.with_name(path.name + ".part")
    part.unlink(missing_ok=True)
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(descriptor, secrets.token_bytes(SIZE))
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    try:
        os.link(part, path)
    finally:
        part.unlink()
