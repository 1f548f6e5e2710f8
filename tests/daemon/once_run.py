"""What does a site look like whose daemon has run once, and what has been handed in to it since?"""

from __future__ import annotations

from pathlib import Path

from daemon.site.load import Site, load_site
from daemon.store import Store
from rules.acts import Act


def site_once_run(folder: Path, text: str) -> Site:
    """A site file of that text, with its store."""
    file = folder / "site.toml"
    file.write_text(text, encoding="utf-8")
    made = load_site(file)
    Store(made.store_path, made.plan.points).close()
    return made


def handed_in(site: Site) -> list[Act]:
    """What waits for the daemon."""
    with Store(site.store_path, site.plan.points) as store:
        return [act for _, act in store.inbox()]
