"""Does a message reach everybody who is to be told?"""

from __future__ import annotations

import argparse
import json
import os
import uuid
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.site.load import load_site

EXAMPLE = "tidebed notify-test site.toml --person keeper"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --person, --json."""
    site_argument(parser)
    parser.add_argument("--person", help="only this person")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: every way works; 1: one does not, or nobody can be told."""
    from adapters.notify import AppriseNotifier, Outcome, Result
    from adapters.secrets import load_ways, secrets_path

    site = load_site(arguments.site)
    ways = load_ways(secrets_path(Path(arguments.site), os.environ), os.environ)
    persons = [p for p in site.plan.persons if arguments.person in (None, p.id)]
    notifier = AppriseNotifier()
    wrong = 0
    tried = 0
    for person in persons:
        for way in person.ways:
            tried += 1
            if way in ways:
                title, body = (
                    f"Test from {site.plan.name}",
                    "This is a test. If you read it, alarms will reach you this way.",
                )
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
    if not tried and not arguments.json:
        print("nobody can be told: give a [[person]] with ways, and each way an address in the secrets")
    return 1 if wrong or not tried else 0
