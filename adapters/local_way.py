"""How does a message reach a lamp or a siren in the house without any internet? By a topic of the site's own broker.

A message by a way with the address `mqtt-topic:house/siren` is published there as JSON: `title`, `message`, `priority`,
`purpose` and `message_id`. A board goes by `priority`, and by `purpose`, which is `recovery` when the alarm is over.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable

from adapters.mqtt.aside import Published
from adapters.notify import Notifier, Outcome, Result
from adapters.secrets import SecretUrl

SCHEME = "mqtt-topic:"

_OUTCOMES = {
    Published.CONFIRMED: Outcome(Result.DELIVERED),
    Published.NOT_SENT: Outcome(Result.FAILED, "no connection to the broker"),
    Published.UNKNOWN: Outcome(Result.UNKNOWN, "the broker did not confirm it"),
    Published.REFUSED: Outcome(Result.REFUSED, "the broker does not let us publish there"),
}


def is_local(way: SecretUrl) -> bool:
    """Whether the address of `way` is a topic."""
    return way.reveal().startswith(SCHEME)


class Ways:
    """Topics by `publish`, all other addresses by `elsewhere`. It is a Notifier."""

    def __init__(self, elsewhere: Notifier, publish: Callable[[str, bytes], Published] | None) -> None:
        """publish: (topic, payload) at QoS 1, blocks until confirmed; None where the site has no broker."""
        self._elsewhere, self._publish = elsewhere, publish

    def send(
        self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "first"
    ) -> Outcome:
        """See Notifier."""
        if not is_local(way):
            return self._elsewhere.send(way, title, body, message_id, priority, purpose)
        topic = way.reveal().removeprefix(SCHEME)
        if not topic or re.search(r"[+#\0]", topic):
            return Outcome(Result.REFUSED, f"the address of way {way.name} names no topic; write {SCHEME}house/siren")
        if self._publish is None:
            return Outcome(Result.REFUSED, f"way {way.name} needs a broker; describe one as [adapter.mqtt]")
        said = {"title": title, "message": body, "priority": priority, "purpose": purpose, "message_id": message_id}
        return _OUTCOMES[self._publish(topic, json.dumps(said, ensure_ascii=False).encode())]
