"""Which known names does a mistyped one resemble?"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def or_nearest(name: str, known: Iterable[str], *, otherwise: str | None = None) -> str:
    """The tail of an error message: `; did you mean A or B?`, and where nothing is near, `otherwise` or all names."""
    names = sorted(known)
    near = difflib.get_close_matches(name.lower(), names, n=3, cutoff=0.5)
    if near:
        return f"; did you mean {' or '.join(near)}?"
    return f"; known: {', '.join(names)}" if otherwise is None else otherwise
