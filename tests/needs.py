"""Which programs outside Python does a test need, and what becomes of it where one is missing?"""

from __future__ import annotations

import os
import shutil

import pytest


def program(name: str, package: str | None = None) -> str:
    """The path of a program of Debian's package of that name.

    Where it is missing the test is skipped and says what it needs; under TIDEBED_SKIP_NOTHING it fails instead.
    """
    found = shutil.which(name, path=f"{os.environ.get('PATH', os.defpath)}:/usr/sbin:/sbin")
    if found is not None:
        return found
    told = f"needs {name}: apt-get install {package or name}"
    if os.environ.get("TIDEBED_SKIP_NOTHING"):
        pytest.fail(told)
    pytest.skip(told)
