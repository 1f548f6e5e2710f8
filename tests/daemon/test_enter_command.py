"""Does `tidebed enter` hand a note to the daemon, so that rules which wait for it hear it?"""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.main import main
from daemon.site.load import Site
from rules.acts import ActKind
from rules.engine import Engine
from tests.daemon.once_run import handed_in, site_once_run

Captured = pytest.CaptureFixture[str]

SITE = """\
[[point]]
id = "tank.ph"
quantity = "ph"

[[rule]]
id = "filter.due"
kind = "overdue"
note = "solids_drained"
every = "4 d"
"""


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """A site whose daemon has run once."""
    return site_once_run(tmp_path, SITE)


def test_a_note_waits_for_the_daemon(site: Site, capsys: Captured) -> None:
    """With its kind, amount, text and who wrote it."""
    words = ["--note-kind", "feeding", "120", "g", "--note", "half left", "--who", "Anna", "--site", str(site.path)]
    assert main(["enter", *words]) == 0
    (act,) = handed_in(site)
    assert (act.kind, act.who, act.text) == (ActKind.NOTE, "Anna", "half left")
    assert act.data == {"kind": "feeding", "amount": "120", "unit": "g"}
    assert capsys.readouterr().out == "handed in: feeding 120 g, by Anna\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["top_up", "20", "L"], "top_up 20 L"),
        (["filter_emptied"], "filter_emptied"),
        (["base_dosed", "5g"], "base_dosed 5 g"),
        (["fish_in", "12", "count"], "fish_in 12 count"),
        (["fish_dead", "1", "count"], "fish_dead 1 count"),
        (["fish_weighed", "0.35", "kg"], "fish_weighed 0.35 kg"),
        (["harvest", "5.5", "lb"], "harvest 5.5 lb"),
        (["solids_drained", "4", "gal"], "solids_drained 4 gal"),
        (["treatment", "3", "mL"], "treatment 3 mL"),
    ],
)
def test_what_a_keeper_writes_down(site: Site, capsys: Captured, words: list[str], told: str) -> None:
    """Feed, water, doses, fish, harvest, with the amounts and units in which people count them."""
    assert main(["enter", "--note-kind", *words, "--who", "Anna", "--site", str(site.path)]) == 0
    assert capsys.readouterr().out == f"handed in: {told}, by Anna\n"
    (act,) = handed_in(site)
    assert act.data["kind"] == words[0]


def test_a_task_that_is_noted_is_no_longer_due(site: Site) -> None:
    """The engine takes the note up as it was handed in."""
    assert main(["enter", "--note-kind", "solids_drained", "--site", str(site.path)]) == 0
    (act,) = handed_in(site)
    day = 86_400_000
    engine = Engine(site.plan, act.time - 5 * day)
    raised = engine.step([], [], act.time - 1)
    assert [event.body["state"] for event in raised if event.type == "alarm"] == ["unacknowledged"]
    over = engine.step([], [act], act.time + 2000)
    assert [event.body["state"] for event in over if event.type == "alarm"] == ["returned"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--note-kind", "Fed Fish"], "small letters"),
        (["--note-kind", "feeding", "120"], "write a unit"),
        (["--note-kind", "feeding", "much", "g"], "is no amount"),
        (["--note-kind", "feeding", "120", "gramm"], "not known"),
        (["--note-kind", "feeding", "-5", "g"], "without a sign"),
        (["--note-kind", "fish_dead", "1"], "or count for pieces"),
        (["--note-kind", "reading"], "POINT VALUE UNIT"),
        ([], "write the point"),
        (["tank.ph"], "write the point"),
        (["tank.hp", "6.8"], "tank.ph"),
        (["tank.ph", "6.8", "degC"], "not measured in"),
        (["tank.ph", "68"], "lies between"),
        (["tank.ph", "lots"], "not a number"),
        (["tank.ph", "-1pH"], "tank.ph = -1 pH cannot be"),
        (["tank.ph", "6.8", "--at", "2999-01-01"], "has not come yet"),
        (["tank.ph", "6.8", "--at", "noon"], "is no time"),
    ],
)
def test_what_cannot_be_noted_ends_in_2(site: Site, capsys: Captured, words: list[str], told: str) -> None:
    """Nothing is handed in, and the mend is told."""
    assert main(["enter", *words, "--site", str(site.path)]) == 2
    assert told in capsys.readouterr().err
    assert handed_in(site) == []
