"""Who is told when nothing can be stored any more, so that no alarm can be judged and no message recorded?

Then people are told past the store: once, by all their ways, and again only hours later.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence

from adapters.notify import Notifier, Result
from adapters.secrets import SecretUrl
from rules.messages import TITLE_SIZE
from rules.people import PersonSettings
from rules.settings import Priority
from rules.showing import fitted

AFTER = 120.0
"""Seconds without a commit."""
AGAIN_AFTER = 6 * 3600.0
TITLE = "Nothing can be stored, so nothing is watched"
_BODY = (
    "The board could not write to its disk for about {minutes} min. Alarms are not judged until it can. "
    "First: look at the place yourself; then free some space or change the disk."
)

_log = logging.getLogger("tidebed.selfwatch")


class LastResort:
    """Tells everybody who is told of critical alarms."""

    def __init__(
        self,
        place: str,
        notifier: Notifier,
        ways: Mapping[str, SecretUrl],
        persons: Callable[[], Sequence[PersonSettings]],
    ) -> None:
        """place: what the site is called; persons: as the site file has them now."""
        self._place, self._notifier, self._ways, self._persons = place, notifier, ways, persons
        self._told: float | None = None

    def look(self, stalled: float, monotonic: float, now: int) -> threading.Thread | None:
        """Tell them if it is time. stalled: seconds without a commit; monotonic: seconds; now: ms UTC.

        Returns at once; the thread that tells them is for tests to wait for.
        """
        if stalled < AFTER:
            if not stalled:
                self._told = None
            return None
        if self._told is not None and monotonic - self._told < AGAIN_AFTER:
            return None
        self._told = monotonic
        body = _BODY.format(minutes=round(stalled / 60))
        thread = threading.Thread(target=self._tell, args=(body, now), name="last resort", daemon=True)
        thread.start()
        return thread

    def _tell(self, body: str, now: int) -> None:
        tell_past_the_store("tidebed.store", TITLE, body, self._place, self._notifier, self._ways, self._persons(), now)


def tell_past_the_store(
    about: str,
    title: str,
    body: str,
    place: str,
    notifier: Notifier,
    ways: Mapping[str, SecretUrl],
    persons: Sequence[PersonSettings],
    now: int,
) -> None:
    """Everybody who is told of critical alarms, by each of their ways, whatever becomes of it. now: ms UTC."""
    for person in persons:
        if Priority.CRITICAL not in person.priorities:
            continue
        for way in person.ways_of(Priority.CRITICAL):
            if way not in ways:
                continue
            message_id = f"{about}/{now}/{person.id}/{way}"
            whole = fitted(f"{title}: {place}", TITLE_SIZE)
            outcome = notifier.send(ways[way], whole, body, message_id, "critical")
            told = "was told" if outcome.result is Result.DELIVERED else f"could not be told ({outcome.reason})"
            _log.warning("%s; %s %s by %s, past the store", title, person.id, told, way)
