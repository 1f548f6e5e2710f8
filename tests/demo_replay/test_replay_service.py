"""What is out of service when a recording lacks points, and what goes on without them?"""

from __future__ import annotations

from demo_replay.replay import replay
from demo_replay.service import in_service
from tests.replays import FLOW_SHARE, START, WARM, moves, person, plan, recording, rule, stage

STOPPED = rule(
    "stopped",
    "loop.stopped",
    needed=2,
    evidence=[{"point": "loop.flow", "under": 2}, {"point": "pump.current", "under": 0.1}],
)
FLOW_SILENT = rule("silent", "flow.silent", point="loop.flow")
STAGE = stage("vents", point="house.temperature", on=26, off=25, safe="on")


def test_with_every_point_present_nothing_is_out_of_service() -> None:
    """The plan itself is judged."""
    site = plan([WARM, STOPPED], [STAGE])
    service = in_service(site, [point.id for point in site.points])
    assert service.plan is site
    assert (service.missing, service.rules, service.stages, service.thinned) == ((), (), (), {})


def test_missing_points_take_their_rules_and_stages_out_of_service() -> None:
    """They are named in the order of the plan; rules on other points stay as they are."""
    service = in_service(plan([FLOW_SILENT, WARM, STOPPED], [STAGE]), ["tank.temperature"])
    assert service.missing == ("loop.flow", "pump.current", "house.temperature")
    assert service.rules == ("flow.silent", "loop.stopped")
    assert service.stages == ("vents",)
    assert service.plan.rules[1] is WARM
    assert service.plan.stages == ()


def test_a_missing_point_raises_no_alarm_for_its_silence() -> None:
    """Only the silence of a point that is in the recording is an alarm."""
    rules = [FLOW_SILENT, rule("silent", "tank.silent", point="tank.temperature")]
    source = recording({"tank.temperature": [250], "pump.current": [40] * 30})
    assert moves(replay(plan(rules), source).events) == [(5, "tank.silent", "unacknowledged")]


def test_a_missing_point_brings_no_stage_to_its_safe_state() -> None:
    """No decision follows from a point that was never recorded."""
    source = recording({"tank.temperature": [250] * 30})
    assert replay(plan([], [STAGE]), source).events == []


def test_stopped_water_is_judged_by_the_evidence_that_is_left_and_says_so() -> None:
    """Without the pump's current the flow alone decides, and the event tells what is missing."""
    source = recording({"loop.flow": [100] * 10 + [0] * 20})
    replayed = replay(plan([STOPPED]), source)
    assert moves(replayed.events) == [(10, "loop.stopped", "unacknowledged")]
    assert replayed.events[0].body["why"].endswith("evidence is reduced: nothing known of pump.current")
    assert replayed.service.thinned == {"loop.stopped": ("pump.current",)}


def test_stopped_water_is_blind_when_the_evidence_that_is_left_falls_silent() -> None:
    """Nothing is known of the water then: that is an alarm."""
    source = recording({"loop.flow": [100] * 10, "tank.temperature": [250] * 40})
    replayed = replay(plan([STOPPED]), source)
    assert [(event.body["side"], event.body["state"]) for event in replayed.events] == [("blind", "unacknowledged")]


def test_contrary_evidence_alone_keeps_no_rule_in_service() -> None:
    """What could only speak against it cannot make it true."""
    stopped = rule(
        "stopped",
        "loop.stopped",
        evidence=[{"point": "loop.flow", "under": 2}, {"point": "pump.current", "over": 0.1, "weight": -1}],
    )
    assert in_service(plan([stopped]), ["pump.current"]).rules == ("loop.stopped",)
    assert in_service(plan([stopped]), ["loop.flow"]).rules == ()


def test_a_rule_out_of_service_explains_no_other() -> None:
    """A missing flow meter does not silence the tank's alarm."""
    silent = rule("silent", "flow.silent", point="loop.flow", explains=["tank.warm"])
    source = recording({"tank.temperature": [270] * 20})
    assert moves(replay(plan([silent, WARM]), source).events) == [(10, "tank.warm", "unacknowledged")]


def test_a_rule_that_joins_others_is_out_when_all_of_them_are() -> None:
    """One that is left keeps it in service, and what it lacks is named."""
    both = rule("all_of", "both", rules=["flow.silent", "loop.stopped"])
    either = rule("any_of", "either", rules=["flow.silent", "tank.warm"])
    service = in_service(plan([FLOW_SILENT, STOPPED, WARM, both, either]), ["tank.temperature"])
    assert service.rules == ("flow.silent", "loop.stopped", "both")
    assert service.thinned == {"either": ("flow.silent",)}


def test_what_is_worked_out_from_a_missing_point_is_missing_too() -> None:
    """With its rules; with the point present it is not."""
    slow = rule("band", "flow.slow", point="flow.share", low="0.5")
    site = plan([slow], derived=[FLOW_SHARE])
    service = in_service(site, ["tank.temperature"])
    assert service.missing == ("loop.flow", "pump.current", "house.temperature", "flow.share")
    assert service.rules == ("flow.slow",)
    assert in_service(site, ["loop.flow"]).rules == ()
    assert replay(site, recording({"tank.temperature": [250] * 20})).events == []


def test_a_rule_that_waits_for_one_out_of_service_is_named() -> None:
    """`while` such a rule, another is judged but never true."""
    gated = rule("band", "tank.cool", point="tank.temperature", low=20, **{"while": "flow.silent"})
    service = in_service(plan([FLOW_SILENT, gated]), ["tank.temperature"])
    assert service.thinned == {"tank.cool": ("flow.silent",)}
    source = recording({"tank.temperature": [100] * 20})
    assert replay(plan([FLOW_SILENT, gated]), source).events == []


def test_a_message_tells_that_there_is_no_reading_of_a_missing_point() -> None:
    """A title that shows a missing point's value says so instead of failing."""
    words = {"title": "Warm, flow {loop.flow}", "priority": "critical"}
    warm = rule("band", "tank.warm", point="tank.temperature", high=26, **words)
    site = plan([warm], persons=[person("anna")])
    notices = [e for e in replay(site, recording({"tank.temperature": [270]})).events if e.type == "notice"]
    assert [notice.body["title"] for notice in notices] == ["Warm, flow no reading"]
    assert notices[0].t == START
