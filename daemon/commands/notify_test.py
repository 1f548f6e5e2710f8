"""Does a message reach everybody who is to be told?"""

from __future__ import annotations

import argparse
import json
import os
import sys
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, cast

from daemon.arguments import json_argument, site_argument
from daemon.handing_in import known_person
from daemon.site.load import Site, load_site
from daemon.site.reaching import broker_of

if TYPE_CHECKING:
    from adapters.mqtt.settings import MqttSettings
    from adapters.notify import Notifier
    from adapters.secrets import SecretUrl

EXAMPLE = "tidebed notify-test site.toml --person keeper"

CONNECTED_WITHIN = 10.0
"""Seconds in which the broker of a local way must be reached."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --person, --json."""
    site_argument(parser)
    parser.add_argument("--person", help="only this person")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: every way works, those for single priorities included; 1: one does not, or nobody can be told."""
    from adapters.notify import Outcome, Result
    from adapters.secrets import load_ways, secrets_path
    from rules.messages import TITLE_SIZE
    from rules.showing import fitted
    from rules.texts import Words

    site = load_site(arguments.site)
    if arguments.person is not None:
        known_person(site, arguments.person)
    ways = load_ways(secrets_path(Path(arguments.site), os.environ), os.environ)
    words = Words(site.plan.texts)
    title, body = fitted(words.say("test.title", name=site.plan.name), TITLE_SIZE), words.say("test.body")
    tried = wrong = 0
    with _notifier(site, ways) as notifier:
        for person in site.plan.persons:
            if arguments.person not in (None, person.id):
                continue
            for way in person.every_way():
                tried += 1
                if way in ways:
                    outcome = notifier.send(ways[way], title, body, f"test/{uuid.uuid4()}", "low")
                else:
                    outcome = Outcome(Result.REFUSED, f"no address; add {way} to [ways] in the secrets")
                wrong += outcome.result is not Result.DELIVERED
                if arguments.json:
                    line = {"person": person.id, "way": way, "result": outcome.result.value, "reason": outcome.reason}
                    print(json.dumps(line))
                else:
                    why = f": {outcome.reason}" if outcome.reason else ""
                    print(f"{person.name or person.id} by {way}: {outcome.result.value}{why}")
    if not tried:
        told = "nobody can be told: give a [[person]] with ways, and each way an address in the secrets"
        print(told, file=sys.stderr if arguments.json else sys.stdout)
    return 1 if wrong or not tried else 0


@contextmanager
def _notifier(site: Site, ways: Mapping[str, SecretUrl]) -> Iterator[Notifier]:
    """As the daemon's own, for topics of the site's broker too."""
    from adapters.local_way import Ways, is_local
    from adapters.notify import AppriseNotifier

    broker = broker_of(site.adapters, site.sending)
    if broker is None or not any(is_local(way) for way in ways.values()):
        yield Ways(AppriseNotifier(), None)
        return
    from adapters.mqtt.aside import Aside

    aside = Aside(cast("MqttSettings", broker.settings), f"tidebed-notify-test-{uuid.uuid4().hex[:8]}")
    aside.start()
    try:
        aside.wait_connected(CONNECTED_WITHIN)
        yield Ways(AppriseNotifier(), aside.publish)
    finally:
        aside.stop()
