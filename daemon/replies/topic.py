"""What does somebody mean who publishes a name on the answer topic: which alarm have they seen?

A name is a rule's id, or a message's, as the message says it: then only the activation that it told of is meant.
"""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable, Collection
from pathlib import Path

from daemon.replies.subject import Standing, subject_of
from daemon.store import StoreError, StoreReader, hand_in
from rules.acts import Act, ActKind
from rules.clock import Clock

LONGEST = 300
"""Bytes of a name."""
WHO = "answer by the broker"

_log = logging.getLogger("tidebed.replies")


class TopicAnswers:
    """Hands in what is published. refused: how many answers meant nothing, by cause."""

    def __init__(self, store: Path, rules: Callable[[], Collection[str]], clock: Clock) -> None:
        """store: the store's file; rules: the ids of today's rules."""
        self._store, self._rules, self._clock = store, rules, clock
        self.refused: Counter[str] = Counter()

    def heard(self, payload: bytes) -> None:
        """One answer; never raises for what somebody published."""
        try:
            name = payload.decode("utf-8").strip().removeprefix("(").removesuffix(")")
        except UnicodeDecodeError:
            name = ""
        if not name or len(payload) > LONGEST:
            self._refuse("no name")
            return
        try:
            act = self._meant(name)
            if act is not None:
                hand_in(self._store, act)
                _log.info("%s has seen %s, by the broker", act.who, act.rule)
        except StoreError as error:
            _log.warning("an answer by the broker could not be taken: %s", error)

    def _meant(self, name: str) -> Act | None:
        if name in self._rules():
            return Act(self._clock.now(), ActKind.ACKNOWLEDGE, WHO, name, text="by the broker")
        with StoreReader(self._store) as store:
            for sending in store.sendings_called(name):
                subject = subject_of(store, sending)
                if subject.standing is Standing.WAITING:
                    return Act(
                        self._clock.now(),
                        ActKind.ACKNOWLEDGE,
                        sending.person,
                        sending.rule,
                        sending.side,
                        text="by the broker",
                        data={"since": str(subject.since)},
                    )
                self._refuse("its alarm does not wait")
                return None
        self._refuse("unknown name")
        return None

    def _refuse(self, cause: str) -> None:
        self.refused[cause] += 1
        # Not the name itself: whoever publishes could fill the log with anything.
        if self.refused[cause] == 1:
            _log.warning("an answer by the broker was refused: %s", cause)
