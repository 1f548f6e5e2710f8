"""In which languages are messages written? One file each beside this one, besides English, which rules/texts.py has.

A file replaces the English words by name; what it lacks is said in English, and `check` names it. Titles and sentences
of a site's own rules are the keeper's, in any language.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from rules.errors import SettingError
from rules.texts import problems_of

_HERE = Path(__file__).parent
ENGLISH = "en"


def languages() -> tuple[str, ...]:
    """What may be asked for, English first."""
    return (ENGLISH, *sorted(path.stem for path in _HERE.glob("*.toml")))


def texts_in(language: str) -> dict[str, str]:
    """name -> text of a language, for `Plan.texts`; empty for English.

    Raises SettingError for a language that there is not, and for a file that is wrong.
    """
    if language == ENGLISH:
        return {}
    if language not in languages():
        raise SettingError(f"there are no texts in {language!r}; write one of {', '.join(languages())}")
    try:
        found: dict[str, str] = tomllib.loads((_HERE / f"{language}.toml").read_text(encoding="utf-8"))
    except ValueError as error:
        raise SettingError(f"{language}.toml: {error}") from error
    if problems := problems_of(found):
        raise SettingError(f"{language}.toml: {problems[0]}")
    return found
