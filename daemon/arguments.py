"""Which arguments do several commands share?"""

from __future__ import annotations

import argparse
import os


def site_argument(parser: argparse.ArgumentParser, *, required: bool = False) -> None:
    """Add SITE, which is $TIDEBED_SITE or else ./site.toml where it is left out."""
    parser.add_argument(
        "site",
        metavar="SITE",
        nargs=None if required else "?",
        default=None if required else os.environ.get("TIDEBED_SITE", "site.toml"),
        help="the site file" if required else "the site file; left out, $TIDEBED_SITE, else ./site.toml",
    )


def json_argument(parser: argparse.ArgumentParser) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="print JSON lines")
