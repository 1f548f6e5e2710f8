"""Where are addresses and tokens kept, and how do they stay out of every log, error and repr?

The file is TOML: `[ways]` holds one service address a way, `[tokens]` one token a server. The environment wins over it:
`TIDEBED_WAY_PHONE` is the way `phone`, `TIDEBED_TOKEN_REMOTE_STORE` the token `remote_store`.
"""

from __future__ import annotations

import logging
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path

from rules.errors import TidebedError

_log = logging.getLogger("tidebed.secrets")


def secrets_path(site: Path, environ: Mapping[str, str]) -> Path:
    """Where the secrets are: `$TIDEBED_SECRETS`, else what the service manager handed over, else beside the site."""
    if environ.get("TIDEBED_SECRETS"):
        return Path(environ["TIDEBED_SECRETS"])
    handed = environ.get("CREDENTIALS_DIRECTORY")
    if handed and (Path(handed) / "secrets.toml").exists():
        return Path(handed) / "secrets.toml"
    return site.resolve().parent / "secrets.toml"


class SecretsError(TidebedError):
    """The file of secrets cannot be used; its text names keys, never what they hold."""


class Secret:
    """A text that shows itself only when asked to `reveal`."""

    __slots__ = ("_text", "name")

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self._text = text

    def reveal(self) -> str:
        """The text itself, for the one call that needs it."""
        return self._text

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.name!r}, ***)"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and (self.name, self._text) == (other.name, other._text)

    def __hash__(self) -> int:
        return hash((self.name, self._text))

    def __reduce__(self) -> str:
        raise TypeError(f"the secret {self.name!r} must not be written anywhere")


class SecretUrl(Secret):
    """The address of a notification service; tokens and passwords are part of it."""

    __slots__ = ()


def load_ways(path: Path | None, environ: Mapping[str, str]) -> dict[str, SecretUrl]:
    """way -> address, from the file's `[ways]` and from `TIDEBED_WAY_<NAME>`.

    A file that others may read is used, with a warning in the log; one that is not there holds nothing.
    Raises SecretsError.
    """
    return {name: SecretUrl(name, text) for name, text in _load(path, environ, "ways", "TIDEBED_WAY_").items()}


def load_tokens(path: Path | None, environ: Mapping[str, str]) -> dict[str, Secret]:
    """name -> token, from the file's `[tokens]` and from `TIDEBED_TOKEN_<NAME>`. As load_ways."""
    return {name: Secret(name, text) for name, text in _load(path, environ, "tokens", "TIDEBED_TOKEN_").items()}


def _load(path: Path | None, environ: Mapping[str, str], table: str, prefix: str) -> dict[str, str]:
    found = {} if path is None else _table(path, table)
    for key, text in environ.items():
        if key.startswith(prefix) and text:
            found[key.removeprefix(prefix).lower()] = text
    return found


def _table(path: Path, table: str) -> dict[str, str]:
    try:
        with path.open("rb") as file:
            mode = stat.S_IMODE(path.stat().st_mode)
            content = tomllib.load(file)
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise SecretsError(
            f"{path} cannot be read: {error.strerror}; its owner must be the one who runs this"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise SecretsError(f"{path} is no TOML ({error}); write lines such as phone = '...' below [ways]") from None
    if mode & 0o077:
        _log.warning("others may read the secrets in %s (mode %03o); run: chmod 600 %s", path, mode, path)
    unknown = sorted(set(content) - {"ways", "tokens"})
    if unknown:
        raise SecretsError(f"{path}: [{unknown[0]}] is not known; the tables are [ways] and [tokens]")
    entries = content.get(table, {})
    if not isinstance(entries, dict):
        raise SecretsError(f"{path}: {table} must be a table, [{table}]")
    for key, value in entries.items():
        if not isinstance(value, str) or not value.strip():
            raise SecretsError(f"{path}: {table}.{key} must be text, not empty")
    return dict(entries)
