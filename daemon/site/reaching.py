"""Can the settings by which people are reached, and by which the daemon watches itself, work together?"""

from __future__ import annotations

from collections.abc import Mapping

from daemon.selfwatch.names import OWN, RULES
from daemon.site.adapters import AdapterTable
from daemon.site.draft import Draft
from daemon.site.located import nearest
from daemon.site.reach import SendingTable


def broker_of(adapters: Mapping[str, AdapterTable], sending: SendingTable) -> AdapterTable | None:
    """The table of the broker for answers and local ways; None where there is none of that name, or none at all."""
    brokers = {name: table for name, table in adapters.items() if table.kind == "mqtt"}
    if sending.broker is not None:
        return brokers.get(sending.broker)
    return next(iter(brokers.values()), None)


def check_reach(made: Draft) -> None:
    """Note names of nothing, answers from anybody, ways that cannot take turns, and ids that are the daemon's own."""
    _check_answers(made)
    for key, names in (("without", made.selfwatch.without), ("priorities", tuple(made.selfwatch.priorities))):
        for index, name in enumerate(names):
            if name not in RULES:
                place = index if key == "without" else name
                made.refuse(
                    ("selfwatch", key, place), f"there is no built-in rule {name}", nearest(name, RULES, kind="rules")
                )
    for index, person in made.persons.items():
        if person.next_way_after is not None and max(map(len, (person.ways, *person.ways_for.values()))) < 2:
            made.refuse(("person", index, "next_way_after"), "needs a second way", "write another name in ways")
    for listed in ("point", "derived", "rule"):
        for index, table in made.items(listed):
            if isinstance(table.get("id"), str) and table["id"].startswith(OWN):
                made.refuse((listed, index, "id"), f"names in {OWN} are the daemon's own", "choose another name")


def _check_answers(made: Draft) -> None:
    sending = made.sending
    broker = broker_of(made.adapters, sending)
    if broker is None and sending.broker is not None:
        known = [name for name, table in made.adapters.items() if table.kind == "mqtt"]
        made.refuse(
            ("sending", "broker"),
            f"there is no broker {sending.broker}",
            nearest(sending.broker, known, kind="brokers"),
        )
    elif sending.ack_topic is None:
        return
    elif broker is None:
        made.refuse(("sending", "ack_topic"), "needs a broker", "describe one as [adapter.mqtt]")
    elif getattr(broker.settings, "username", None) is None:
        made.refuse(
            ("sending", "ack_topic"),
            f"needs a login at the broker, so that not anybody can acknowledge ([adapter.{broker.name}] has none)",
            "write username and password_file there",
        )
