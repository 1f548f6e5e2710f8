"""Who is told when nothing can be stored any more, so that no alarm can be judged and no message recorded?

Then people are told past the store: once, by all their ways, and again only hours later.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping

from adapters.notify import Notifier, Result
from adapters.secrets import SecretUrl
from daemon.selfwatch.names import STORE
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.plan import Plan
from rules.settings import Priority
from rules.showing import fitted
from rules.texts import Words

AFTER = 120.0
"""Seconds without a commit."""
AGAIN_AFTER = 6 * 3600.0

_log = logging.getLogger("tidebed.selfwatch")


class LastResort:
    """Tells everybody who is told of critical alarms."""

    def __init__(
        self,
        plan: Callable[[], Plan],
        notifier: Notifier,
        ways: Mapping[str, SecretUrl],
    ) -> None:
        """plan: as the site file has it now."""
        self._plan, self._notifier, self._ways = plan, notifier, ways
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
        thread = threading.Thread(target=self._tell, args=(round(stalled / 60), now), name="last resort", daemon=True)
        thread.start()
        return thread

    def _tell(self, minutes: int, now: int) -> None:
        plan = self._plan()
        words = Words(plan.texts)
        title, body = words.say("unstored.title"), words.say("unstored.body", minutes=minutes)
        tell_past_the_store(STORE, title, body, plan, self._notifier, self._ways, now)


def tell_past_the_store(
    about: str,
    title: str,
    body: str,
    plan: Plan,
    notifier: Notifier,
    ways: Mapping[str, SecretUrl],
    now: int,
) -> None:
    """Everybody who is told of critical alarms, by each of their ways, whatever becomes of it. now: ms UTC."""
    for person in plan.persons:
        if Priority.CRITICAL not in person.priorities:
            continue
        for way in person.ways_of(Priority.CRITICAL):
            if way not in ways:
                continue
            message_id = f"{about}/{now}/{person.id}/{way}"
            whole = fitted(f"{title}: {plan.name}", TITLE_SIZE)
            outcome = notifier.send(ways[way], whole, fitted(body, BODY_SIZE), message_id, "critical")
            told = "was told" if outcome.result is Result.DELIVERED else f"could not be told ({outcome.reason})"
            _log.warning("%s; %s %s by %s, past the store", title, person.id, told, way)
