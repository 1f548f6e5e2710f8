"""Does the twin latch, shelve, take out of service and suppress alarms as the state table of ISA-18.2 has it?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rules.acts import Act, ActKind
from rules.settings import RuleSettings
from tests.twin.hand import Values, acknowledged, at, judged, plan, rule, series


def _act(kind: ActKind, seconds: float, until: float | None = None, name: str = "r") -> Act:
    return Act(at(seconds), kind, rule=name, until=None if until is None else at(until))


def _states(
    rules: Sequence[RuleSettings], values: dict[str, Values], acts: Sequence[Act] = (), until: float = 1000
) -> list[tuple[float, str, str]]:
    """(seconds, rule, state) of every alarm event."""
    events = judged(plan(rules, stale_after=5000), [series(*item) for item in values.items()], until, acts)
    start = at(0)
    return [((e.t - start) / 1000, e.body["rule"], e.body["state"]) for e in events if e.type == "alarm"]


def _high(name: str, point: str, **more: Any) -> RuleSettings:
    return rule("band", id=name, point=point, high=10, **more)


def test_a_latched_alarm_is_acknowledged_and_then_reset() -> None:
    """B -return-> E -ack-> F -reset-> A; a reset before the acknowledgement does nothing."""
    acts = [_act(ActKind.RESET, 20), acknowledged(30), _act(ActKind.RESET, 40)]
    assert _states([_high("r", "p", latch=True)], {"p": {0: 11, 10: 9}}, acts) == [
        (0, "r", "unacknowledged"),
        (10, "r", "latched-unacknowledged"),
        (30, "r", "latched-acknowledged"),
        (40, "r", "normal"),
    ]


def test_an_acknowledged_latched_alarm_goes_to_f_and_alarms_anew_from_there() -> None:
    """C -return-> F -abnormal-> B."""
    assert _states([_high("r", "p", latch=True)], {"p": {0: 11, 10: 9, 20: 11}}, [acknowledged(5)]) == [
        (0, "r", "unacknowledged"),
        (5, "r", "acknowledged"),
        (10, "r", "latched-acknowledged"),
        (20, "r", "unacknowledged"),
    ]


def test_a_shelved_alarm_is_judged_anew_when_its_time_is_over() -> None:
    """Shelved from 5 s to 25 s: what happens meanwhile is not shown; active at 25 s."""
    acts = [_act(ActKind.SHELVE, 5, 25)]
    assert _states([_high("r", "p")], {"p": {0: 11, 10: 9, 20: 11}}, acts) == [
        (0, "r", "unacknowledged"),
        (5, "r", "shelved"),
        (25, "r", "unacknowledged"),
    ]


def test_a_return_at_the_instant_at_which_shelving_ends_leaves_nothing_to_say() -> None:
    """Off-delay and shelving end together: judged anew after what is due."""
    acts = [_act(ActKind.SHELVE, 5, 30)]
    assert _states([_high("r", "p", off_delay="20 s")], {"p": {0: 11, 10: 9}}, acts) == [
        (0, "r", "unacknowledged"),
        (5, "r", "shelved"),
        (30, "r", "normal"),
    ]


def test_unshelving_judges_anew_and_shelving_without_an_end_is_none() -> None:
    """A shelving has an end."""
    acts = [_act(ActKind.SHELVE, 5), _act(ActKind.SHELVE, 10, 100), _act(ActKind.UNSHELVE, 20)]
    assert _states([_high("r", "p")], {"p": {0: 11, 15: 9}}, acts) == [
        (0, "r", "unacknowledged"),
        (10, "r", "shelved"),
        (20, "r", "normal"),
    ]


def test_out_of_service_lasts_until_somebody_ends_it() -> None:
    """It is shown before shelved, and acknowledging does nothing."""
    acts = [
        _act(ActKind.SHELVE, 5, 100),
        _act(ActKind.OUT_OF_SERVICE, 10),
        acknowledged(20),
        _act(ActKind.IN_SERVICE, 200),
    ]
    assert _states([_high("r", "p")], {"p": {0: 11}}, acts) == [
        (0, "r", "unacknowledged"),
        (5, "r", "shelved"),
        (10, "r", "out-of-service"),
        (200, "r", "unacknowledged"),
    ]


def test_an_explained_alarm_is_suppressed_and_speaks_when_what_explained_it_is_over() -> None:
    """Both begin at one instant: the explained one does not speak, wherever it stands; 30 s past the return it does."""
    rules = [_high("x", "q"), _high("r", "p", explains=["x"], after="30 s")]
    assert _states(rules, {"p": {0: 11, 60: 9}, "q": {0: 11}}) == [
        (0, "x", "suppressed"),
        (0, "r", "unacknowledged"),
        (60, "r", "returned"),
        (90, "x", "unacknowledged"),
    ]


def test_an_alarm_that_already_speaks_falls_quiet_and_returns_quietly() -> None:
    """Suppressed at 10 s, back at 20 s: normal, with nothing to acknowledge."""
    rules = [_high("x", "q"), _high("r", "p", explains=["x"])]
    assert _states(rules, {"p": {10: 11}, "q": {0: 11, 20: 9}}) == [
        (0, "x", "unacknowledged"),
        (10, "r", "unacknowledged"),
        (10, "x", "suppressed"),
        (20, "x", "normal"),
    ]


def test_a_suppressed_or_shelved_rule_still_explains_but_not_one_out_of_service() -> None:
    """a explains b, b explains c; then b is out of service and c speaks."""
    rules = [_high("a", "p", explains=["b"]), _high("b", "p", explains=["c"]), _high("c", "p")]
    acts = [_act(ActKind.SHELVE, 10, 900, "b"), _act(ActKind.OUT_OF_SERVICE, 20, name="b")]
    assert _states(rules, {"p": {0: 11}}, acts, until=100) == [
        (0, "a", "unacknowledged"),
        (0, "b", "suppressed"),
        (0, "c", "suppressed"),
        (10, "b", "shelved"),
        (20, "b", "out-of-service"),
        (20, "c", "unacknowledged"),
    ]


def test_in_a_ring_of_active_rules_the_one_active_longest_speaks() -> None:
    """a and b explain each other; b began first. Ties go by site order."""
    rules = [_high("a", "p", explains=["b"]), _high("b", "q", explains=["a"])]
    assert _states(rules, {"p": {10: 11}, "q": {0: 11}}) == [(0, "b", "unacknowledged"), (10, "a", "suppressed")]
    assert _states(rules, {"p": {0: 11}, "q": {0: 11}}) == [(0, "a", "unacknowledged"), (0, "b", "suppressed")]


def test_a_ring_that_is_not_wholly_active_is_none() -> None:
    """r explains x, x explains y, y explains r; y is quiet, so r simply explains x, though x began first."""
    rules = [_high("r", "p", explains=["x"]), _high("x", "q", explains=["y"]), _high("y", "w", explains=["r"])]
    assert _states(rules, {"p": {10: 11}, "q": {0: 11}}) == [
        (0, "x", "unacknowledged"),
        (10, "r", "unacknowledged"),
        (10, "x", "suppressed"),
    ]


def test_a_rule_that_is_never_suppressed_speaks() -> None:
    """Critical oxygen speaks beside what explains it."""
    rules = [_high("r", "p", explains=["x"]), _high("x", "q", never_suppressed=True)]
    assert _states(rules, {"p": {0: 11}, "q": {0: 11}}) == [(0, "r", "unacknowledged"), (0, "x", "unacknowledged")]


def test_a_rule_that_only_logs_explains_too() -> None:
    """Priority log raises no alarm and still accounts for others."""
    rules = [_high("r", "p", explains=["x"], priority="log"), _high("x", "q")]
    assert _states(rules, {"p": {0: 11, 10: 9}, "q": {0: 11}}) == [(0, "x", "suppressed"), (10, "x", "unacknowledged")]
