"""Does a reload that is wrong change nothing and say why?"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import pytest

from daemon.outbox import Manners, Outbox
from daemon.replies.doors import Doors
from daemon.service import Service
from daemon.store import Sending
from tests.brokers import free_port

SITE = """\
[[point]]
id = "tank.a"
quantity = "{quantity}"
"""


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A daemon that does not run yet, for a site whose point measures water temperature."""
    file = tmp_path / "site.toml"
    file.write_text(SITE.format(quantity="water_temperature"), encoding="utf-8")
    made = Service(file)
    yield made
    made.store.close()


@pytest.mark.parametrize(("quantity", "told"), [("ph", "a point id of its own"), ("nonsense", "unknown quantity")])
def test_a_wrong_file_is_not_taken_up(
    service: Service, caplog: pytest.LogCaptureFixture, quantity: str, told: str
) -> None:
    """Neither one that is wrong by itself, nor one that contradicts the history in the store."""
    before = service.site
    service.path.write_text(SITE.format(quantity=quantity), encoding="utf-8")
    with caplog.at_level(logging.ERROR):
        service.reload()
    assert service.site is before
    assert told in caplog.text


def test_a_right_file_is_taken_up(service: Service) -> None:
    """Another unit of the same quantity is no contradiction."""
    service.path.write_text(SITE.format(quantity="water_temperature") + 'unit = "degF"\n', encoding="utf-8")
    service.reload()
    assert service.site.plan.points[0].unit == "degF"


class Manner:
    """What an outbox was told last."""

    def use(self, manners: Manners) -> None:
        """As Outbox."""
        self.last = manners


def test_another_language_counts_at_once_wherever_people_are_spoken_to(service: Service) -> None:
    """In the rules that the daemon has of its own, in what the outbox adds, and in the line of a link."""
    web = f'[web]\nlisten = "127.0.0.1:{free_port()}"\nlink_base = "https://home.example"\n'
    english = SITE.format(quantity="water_temperature")
    service.path.write_text(english + web, encoding="utf-8")
    service.reload()
    doors = Doors(service.site, service.clock, {}, lambda: service.plan)
    service.outbox = cast(Outbox, outbox := Manner())
    sending = Sending("m", "anna", "phone", "t", "b", "high", "first", 0, number=1, rule="a", side="high")
    try:
        assert doors.link(sending, 0).startswith("Seen it?")
        service.path.write_text(english + web + '[site]\nlanguage = "de"\n', encoding="utf-8")
        service.reload()
        assert doors.link(sending, 0).startswith("Gesehen?")
    finally:
        doors.stop()
    assert outbox.last.words.say("repeated") == "(vielleicht doppelt)"
    titles = {rule.id: rule.title for rule in service.plan.rules}
    assert titles["tidebed.store"] == "Schreiben auf die Platte dauert lange: {value}"
