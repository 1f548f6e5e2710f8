"""Is a rule judged only where something can change it? What nothing stirs costs next to nothing, however many rules."""

from __future__ import annotations

from rules.acts import Act, ActKind
from rules.block import block
from rules.edges import Judged
from rules.engine import Engine
from rules.view import View
from tests.rules.told import at, high, rule, site

STALE = 90
"""Seconds after which a point is silent."""


def judged_at(steps: dict[int, dict[str, int]], acts: dict[int, Act] | None = None) -> dict[str, list[int]]:
    """rule -> the steps, each at so many seconds, in which its condition was looked at. steps: point -> degC."""
    rules = (
        high("warm", "p", on_delay="20 s"),
        rule("not", "cool", rule="warm", priority="log"),
        high("gated", "q", **{"while": "cool"}),
        rule("silent", "unheard", point="w"),
        rule("overdue", "drain", note="drained", every="70 s", priority="low"),
    )
    engine = Engine(site(rules, stale_after=STALE * 1000), at(0))
    looked: dict[str, list[int]] = {one.id: [] for one in rules}
    now = 0
    for judge in engine.judges:

        def edges(view: View, name: str = judge.rule.id, own: object = judge.condition.edges) -> dict[str, Judged]:
            looked[name].append(now)
            assert callable(own)
            found: dict[str, Judged] = own(view)
            return found

        judge.condition.edges = edges  # type: ignore[method-assign]  # counted on the way
    for now, values in steps.items():
        said = [block(point, [at(now)], [value]) for point, value in values.items()]
        engine.step(said, [acts[now]] if acts and now in acts else [], at(now))
    return looked


def test_a_rule_is_judged_where_its_point_speaks_or_a_wait_of_its_own_ends() -> None:
    """Of steps each second a rule sees those with a reading of its point, and that in which its on-delay ends."""
    said = {second: {"p": 12} if second in (5, 17) else {} for second in range(60)}
    assert judged_at(said)["warm"] == [0, 5, 17, 25]


def test_a_rule_that_rests_on_another_is_judged_where_that_one_changes() -> None:
    """They are judged at first and where its condition turns false, not where its point says the same again."""
    said = {second: {"p": 12 if second < 40 else 9} if second % 10 == 0 else {} for second in range(60)}
    looked = judged_at(said)
    assert looked["cool"] == [0, 40]
    assert looked["gated"] == [0, 40]


def test_a_silence_wakes_the_rules_of_its_point() -> None:
    """Rules about a point are judged where it falls silent, heard before or not."""
    looked = judged_at({second: {"p": 12} if second == 5 else {} for second in range(120)})
    assert looked["unheard"] == [0, STALE]
    assert looked["warm"] == [0, 5, 25, 5 + STALE]


def test_a_note_wakes_the_rules() -> None:
    """A task is judged where it falls due and where something is noted, which may be what it waits for."""
    noted = {30: Act(at(30), ActKind.NOTE, "anna", data={"kind": "drained"})}
    assert judged_at({second: {} for second in range(120)}, noted)["drain"] == [0, 30, 100]


def test_an_engine_made_from_its_state_judges_every_rule_once() -> None:
    """After a restart the settings may be others, so that the first step looks at every rule."""
    plan = site((high("warm", "p"), high("dry", "q")))
    engine = Engine(plan, at(0))
    engine.step([], [], at(10))
    assert all(judge.due > at(10) for judge in engine.judges)
    assert all(judge.due == 0 for judge in Engine.restore(plan, engine.state()).judges)
