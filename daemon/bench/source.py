"""Where do the readings of a replay come from: recorded files, or the daemon's own store?"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from adapters.recordings import Recording, read_recordings
from daemon.site.load import Site
from daemon.site.located import nearest
from daemon.store import StoreReader
from rules.acts import Act
from rules.block import Source
from rules.errors import SettingError

STORE = "store:"
"""How the daemon's own store is named among recordings."""
_MOST_NAMES = 8


@dataclass(frozen=True, slots=True)
class Recorded:
    """Readings of the past, and what is known of them.

    acts: what people did, and when the daemon did not run; span: first and last instant (ms UTC) that the daemon
    watched, and watched: its points, heard or not, None for files; recording: the account of what was left out of
    files; files: what to call them.
    """

    source: Source
    files: tuple[str, ...]
    acts: list[Act] = field(default_factory=list)
    span: tuple[int, int] | None = None
    watched: Sequence[str] | None = None
    recording: Recording | None = None


@contextlib.contextmanager
def recorded(
    site: Site,
    names: Sequence[str],
    *,
    strict: bool = False,
    progress: Callable[[int, int], None] | None = None,
    as_of: int | None = None,
) -> Iterator[Recorded]:
    """The readings that `names` name: files, or `store:` alone.

    as_of: of the store's calibrations only those entered by then count (ms UTC; None: all).
    Raises SettingError for `store:` beside files, for `as_of` with files and for files without a reading of the site's
    points, and what reading files or the store raises.
    """
    if STORE in names:
        if len(names) > 1:
            raise SettingError(f"{STORE} stands alone: replay the store, or files, not both at once")
        with StoreReader(site.store_path, site.plan.points, as_of=as_of) as store:
            saved = store.checkpoint()
            span = None if saved is None else (int(saved["start"]), int(saved["frontier"]))
            yield Recorded(store, (STORE,), store.acts(), span, store.watched())
        return
    if as_of is not None:
        raise SettingError(f"--as-of is about the calibrations that {STORE} holds; files carry none, so leave it out")
    points = {point.id: point for point in site.plan.points}
    recording = read_recordings([Path(name) for name in names], points, site.plan.timezone, strict, progress)
    if recording.span() is None:
        raise SettingError(f"{', '.join(names)}: {_nothing_of(site, recording)}")
    yield Recorded(recording, tuple(Path(name).name for name in names), recording=recording)


def _nothing_of(site: Site, recording: Recording) -> str:
    """Why there is nothing to judge in a recording, and how to mend it."""
    if recording.ignored:
        names = sorted(recording.ignored)
        told = ", ".join(names[:_MOST_NAMES]) + (
            f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        )
        known = nearest(names[0], [point.id for point in site.plan.points], kind="points")
        return (
            f"no reading of any point of the site file; it holds {told}: name its points as the site file does, {known}"
        )
    if recording.bad_lines:
        first = recording.bad_lines[0]
        return f"no line of it can be read; the first is {first.file}:{first.line}: {first.reason}"
    return "there is no reading in it"
