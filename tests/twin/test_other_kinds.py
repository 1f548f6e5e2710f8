"""Does the twin judge flat, spread, ahead, cycle and the logic of rules as worked by hand?"""

from __future__ import annotations

from typing import Any

from rules.acts import Act, ActKind
from rules.conditions import KINDS
from rules.settings import RuleSettings
from tests.twin.hand import alarms, at, every, judged, off, plan, rule, series


def _of(kind: str, **settings: Any) -> RuleSettings:
    return KINDS[kind].model_validate({"id": "x", "kind": kind, **settings})


def test_flat_needs_its_window_covered_and_meets_the_tolerance_exactly() -> None:
    """Tolerance 0.1 over 2 min, a reading a minute: covered at 120 s; 0.15 apart at 180 s; flat again at 300 s."""
    values = every(60, [20.0, 20.1, 20.0, 20.15, 20.1, 20.05])
    assert alarms(judged(plan([rule("flat", tolerance=0.1, window="2 min")]), [series("p", values)], 310)) == [
        (120, "flat", "unacknowledged"),
        (180, "flat", "returned"),
        (300, "flat", "unacknowledged"),
    ]


def test_points_disagree_beyond_the_span_among_those_that_are_known() -> None:
    """Span 1, deadband 0.5: 1 is not beyond, 1.05 is, 0.5 is back; with one of two known nothing is."""
    blocks = [series("p", {0: 20.0, 10: 20.0, 20: 20.0, 30: 20.0}), series("q", {5: 21.0, 15: 21.05, 25: 20.5})]
    assert alarms(judged(plan([_of("spread", points=["p", "q"], span=1, deadband=0.5)]), blocks, 40)) == [
        (15, "spread", "unacknowledged"),
        (25, "spread", "returned"),
    ]
    alone = judged(
        plan([_of("spread", points=["p", "q"], span=1)], stale_after=10),
        [series("p", {0: 20.0}), series("q", {5: 21.05, 15: 20.0})],
        20,
    )
    assert alarms(alone) == [(5, "spread", "unacknowledged")]


def test_points_too_close() -> None:
    """Inlet and outlet nearer than 1: 1 is not too close, 0.95 is, 1.25 is back with a deadband of 0.25."""
    blocks = [series("p", {0: 20.0}), series("q", {0: 21.0, 10: 20.95, 20: 21.0, 30: 21.25})]
    made = _of("spread", points=["p", "q"], span=1, too_close=True, deadband=0.25)
    assert alarms(judged(plan([made]), blocks, 40)) == [(10, "spread", "unacknowledged"), (30, "spread", "returned")]


def test_ahead_is_the_value_carried_on_at_its_slope() -> None:
    """1 degC a minute, horizon 5 min: 20 + 5 at 60 s is not beyond 25; 21 + 5 at 120 s is; level at 22 is back."""
    values = every(60, [19.0, 20.0, 21.0, 22.0, 22.0, 22.0])
    made = rule("ahead", high=25, horizon="5 min", window="1 min", min_readings=2)
    assert alarms(judged(plan([made]), [series("p", values)], 310)) == [
        (120, "high", "unacknowledged"),
        (240, "high", "returned"),
    ]


def test_ahead_is_also_true_when_already_beyond() -> None:
    """Beyond the limit with no slope known; within it and no slope known is unknown, which is no return."""
    made = rule("ahead", low=10, horizon="5 min", window="1 min", min_readings=5)
    values = {0: 11.0, 30: 9.95, 60: 20.0}
    assert alarms(judged(plan([made]), [series("p", values)], 100)) == [(30, "low", "unacknowledged")]


def test_a_bed_that_stays_full_or_empty() -> None:
    """Marks 10 and 20: full from 60 s, told at 120 s; empty from 180 s, told at 300 s."""
    values = every(60, [15.0, 20.0, 25.0, 10.0, 5.0, 5.0, 10.05])
    made = rule("cycle", low=10, high=20, full="60 s", empty="120 s")
    assert alarms(judged(plan([made]), [series("p", values)], 370)) == [
        (120, "full", "unacknowledged"),
        (180, "full", "returned"),
        (300, "empty", "unacknowledged"),
        (360, "empty", "returned"),
    ]


def test_the_period_is_from_drain_end_to_drain_end() -> None:
    """Drain ends at 120, 240 (2 min), 300 (1 min: short) and 420 s (2 min: right again); overdue at 600 s."""
    values = every(60, [25.0, 15.0, 5.0, 25.0, 5.0])
    values |= {270: 25.0, 300: 5.0, 360: 25.0, 420: 5.0}
    made = rule("cycle", low=10, high=20, shortest="90 s", longest="3 min")
    assert alarms(judged(plan([made]), [series("p", values)], 700)) == [
        (300, "period", "unacknowledged"),
        (420, "period", "returned"),
        (600, "period", "unacknowledged"),
    ]


def test_a_drain_is_overdue_even_at_the_instant_at_which_the_point_becomes_unknown() -> None:
    """Conditions and delays come before staleness: both at 180 s."""
    made = rule("cycle", low=10, high=20, longest="120 s")
    assert alarms(judged(plan([made], stale_after=120), [series("p", {0: 25.0, 60: 5.0})], 200)) == [
        (180, "period", "unacknowledged")
    ]


def test_ripple_between_the_marks_is_no_drain() -> None:
    """From full to between and back to full, then empty, between, empty: one drain end, at 120 s."""
    values = {0: 25.0, 30: 15.0, 60: 20.0, 120: 10.0, 150: 15.0, 160: 9.0}
    made = rule("cycle", low=10, high=20, shortest="10 min", longest="20 min")
    assert alarms(judged(plan([made]), [series("p", values)], 200)) == []


def _logic(kind: str, p: float | None, q: float | None, **more: Any) -> str:
    """The alarm of a composite over `a` (p above 10) and `b` (q above 10): "yes", "no" or "unknown"."""
    parts = [rule("band", id=name, point=point, high=10, priority="log") for name, point in (("a", "p"), ("b", "q"))]
    both = [_of(kind, **more), _of("not", id="n", rule="x", priority="high").model_copy(update={"id": "n"})]
    blocks = [series(point, {0: value}) for point, value in (("p", p), ("q", q)) if value is not None]
    said = {event.body["rule"] for event in judged(plan([*both, *parts]), blocks, 1) if event.type == "alarm"}
    return "yes" if "x" in said else "no" if "n" in said else "unknown"


def test_logic_is_kleenes() -> None:
    """Unknown decides nothing, and hides nothing that is decided (Kleene 1952, strong three-valued logic)."""
    t, f, u = 11.0, 9.0, None
    pairs = [(t, t), (t, f), (t, u), (f, f), (f, u), (u, u)]
    two = {"rules": ["a", "b"]}
    assert [_logic("all_of", p, q, **two) for p, q in pairs] == ["yes", "no", "unknown", "no", "no", "unknown"]
    assert [_logic("any_of", p, q, **two) for p, q in pairs] == ["yes", "yes", "yes", "no", "unknown", "unknown"]
    assert [_logic("at_least", p, q, n=2, **two) for p, q in pairs] == ["yes", "no", "unknown", "no", "no", "unknown"]
    assert [_logic("not", p, None, rule="a") for p in (t, f, u)] == ["no", "yes", "unknown"]


def test_other_rules_are_seen_with_deadband_and_without_delays() -> None:
    """p above 10 with deadband 2 and a delay of an hour: seen at once, and until 8."""
    a = rule("band", id="a", high=10, deadband=2, on_delay="1 h", priority="log")
    events = judged(plan([_of("all_of", rules=["a"]), a]), [series("p", {0: 11.0, 10: 9.0, 20: 8.0})], 30)
    assert alarms(events) == [(0, "all_of", "unacknowledged"), (20, "all_of", "returned")]


def test_what_holds_from_the_first_instant_is_said_then() -> None:
    """A point never heard is not silent at the start: `not silent` is true from the start until it is."""
    silent = rule("silent", id="quiet", priority="log")
    events = judged(plan([_of("not", rule="quiet"), silent], stale_after=10), [], 20)
    assert alarms(events) == [(0, "not", "unacknowledged"), (10, "not", "returned")]


def test_a_rule_counts_only_while_another_is_true() -> None:
    """False where that condition is false or unknown; then the rule returns, even if its own point is unknown."""
    made = [rule("band", high=10, **{"while": "light"}), rule("band", id="light", point="q", high=5, priority="log")]
    blocks = [series("p", {0: 11.0}), series("q", {10: 6.0, 20: 5.0})]
    assert alarms(judged(plan(made), blocks, 30)) == [(10, "high", "unacknowledged"), (20, "high", "returned")]
    late = judged(plan(made, stale_after=15), [blocks[0], series("q", {10: 6.0, 20: 5.0})], 30)
    assert alarms(late) == [(10, "high", "unacknowledged"), (20, "high", "returned")]


def test_a_rule_whose_qualifier_is_false_is_false_for_others_even_if_its_point_is_unknown() -> None:
    """False and unknown is false, so `not` of it is true."""
    asleep = rule("band", id="a", high=10, priority="log", since_note="fed", within="1 min")
    assert alarms(judged(plan([_of("not", rule="a"), asleep]), [], 20)) == [(0, "not", "unacknowledged")]


def test_a_rule_counts_during_its_hours() -> None:
    """From 12:01 to 12:02: the clock alone begins and ends it."""
    made = rule("band", high=10, during={"hours": "12:01-12:02"})
    assert alarms(judged(plan([made]), [series("p", {0: 11.0})], 200)) == [
        (60, "high", "unacknowledged"),
        (120, "high", "returned"),
    ]


def test_a_rule_counts_for_a_time_after_a_note() -> None:
    """A note at 30 s, within a minute: until before 90 s. A note of another kind does nothing."""
    made = rule("band", high=10, since_note="fed", within="1 min")
    notes = [Act(at(t), ActKind.NOTE, data={"kind": kind}) for t, kind in ((10, "seen"), (30, "fed"))]
    assert alarms(judged(plan([made]), [series("p", {0: 11.0})], 200, notes)) == [
        (30, "high", "unacknowledged"),
        (90, "high", "returned"),
    ]


def test_full_for_a_time_does_not_count_while_the_daemon_was_off() -> None:
    """Full from 0 s for 60 s, off from 30 s to 130 s: told at 160 s."""
    made = rule("cycle", low=10, high=20, full="60 s")
    assert alarms(judged(plan([made]), [series("p", {0: 25.0})], 200, [off(30, 130)])) == [
        (160, "full", "unacknowledged")
    ]
