"""Do the laws of alarms hold whatever happens? No alarm lost, none sent twice, shelving ends, no cause hidden.

Random readings, acts, passing of time and restarts; at the end everything is judged again in one step.
"""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.engine import Engine
from rules.events import Event
from rules.settings import RuleSettings
from tests.rules.told import ANNA, BEN, at, high, person, site

RULES: tuple[RuleSettings, ...] = (
    high("cause", "p", explains=["middle", "effect", "oxygen"], after="2 min", deadband=2),
    high("middle", "q", priority="high", explains=["effect", "cause"], on_delay="20 s"),
    high("effect", "w", priority="medium", latch=True),
    high("oxygen", "w", high=12, never_suppressed=True),
    high("quiet", "q", high=12, priority="low"),
)
SLEEPER = person("cleo", quiet="12:30-13:30")
READER = person("dora", priorities=["critical"], digest="12:40", sign_of_life="13:00")
PLAN = site(RULES, [ANNA, BEN, SLEEPER, READER], flood_begins_over=4, flood_ends_under=2, chattering_within="5 min")
NAMES = [one.id for one in RULES]
SPEAKING = ("unacknowledged", "acknowledged", "shelved", "latched-unacknowledged", "latched-acknowledged")


class Alarms(RuleBasedStateMachine):
    """An engine that lives through chance, and what it has said."""

    def __init__(self) -> None:
        super().__init__()
        self.engine = Engine(PLAN, at(0))
        self.now = 0.0
        self.blocks: list[Block] = []
        self.acts: list[Act] = []
        self.events: list[Event] = []
        self.orders = False
        """Whether a mute, a drill or an absence was ever ordered."""

    def _step(self, blocks: list[Block], acts: list[Act]) -> None:
        self.blocks += blocks
        self.acts += acts
        self.events += self.engine.step(blocks, acts, at(self.now))

    @rule(seconds=st.sampled_from([1, 19, 20, 59, 60, 61, 120, 300, 600, 1800]))
    def time_passes(self, seconds: int) -> None:
        """Nothing comes."""
        self.now += seconds
        self._step([], [])

    @rule(point=st.sampled_from("pqw"), value=st.sampled_from([7, 9, 11, 13]), wait=st.sampled_from([1, 5, 20, 60]))
    def a_reading_comes(self, point: str, value: int, wait: int) -> None:
        """Below the limit, within the deadband, above one limit or both."""
        self.now += wait
        self._step([block(point, [at(self.now)], [value])], [])

    @rule(
        kind=st.sampled_from(["acknowledge", "acknowledge", "reset", "unshelve", "out_of_service", "in_service"]),
        name=st.sampled_from([None, *NAMES]),
    )
    def somebody_acts(self, kind: str, name: str | None) -> None:
        """On one alarm or on all."""
        self.now += 1
        self._step([], [Act(at(self.now), ActKind(kind), "anna", name)])

    @rule(name=st.sampled_from(NAMES), lasts=st.sampled_from([1, 60, 600]))
    def somebody_shelves(self, name: str, lasts: int) -> None:
        """For a while."""
        self.now += 1
        self._step([], [Act(at(self.now), ActKind.SHELVE, "anna", name, until=at(self.now + lasts))])

    @rule(
        kind=st.sampled_from(["mute", "drill", "away"]), name=st.sampled_from(NAMES), lasts=st.sampled_from([60, 900])
    )
    def somebody_orders(self, kind: str, name: str, lasts: int) -> None:
        """A mute, a drill, an absence."""
        self.now += 1
        self.orders = True
        data = {"on_duty": "ben"} if kind == "away" else {"rules": name}
        self._step([], [Act(at(self.now), ActKind(kind), "anna", until=at(self.now + lasts), data=data)])

    @rule()
    def it_restarts(self) -> None:
        """From what is written down."""
        self.engine = Engine.restore(PLAN, json.loads(json.dumps(self.engine.state())))

    # --- the laws

    def _alarms(self) -> list[dict[str, Any]]:
        return self.engine.alarms()

    def _told(self) -> list[Event]:
        return [event for event in self.events if event.type == "notice"]

    @invariant()
    def no_alarm_is_lost(self) -> None:
        """Whatever has been unacknowledged for longer than messages are gathered was told to Anna, or is muted."""
        life = self.engine.life
        for alarm in self._alarms():
            known = life.alarms[alarm["rule"]][alarm["side"]]
            waits = 0 if alarm["priority"] == "critical" else 60_000
            if alarm["state"] != "unacknowledged" or alarm["priority"] == "low" or alarm["muted_until"]:
                continue
            if known.raised + waits > self.engine.frontier or (life.router.flood.runs and waits):
                continue
            # What it was told as, whenever it last became active: by itself, or in a summary.
            # Of one that chatters it is enough that it was.
            begin = 0 if (known.rule, known.side) in life.router.chattering else known.since
            about = [e for e in self._told() if e.body["person"] == "anna" and e.t >= begin]
            assert any(
                e.body["purpose"] == "summary" or (e.body["rule"], e.body["side"]) == (alarm["rule"], alarm["side"])
                for e in about
            ), alarm

    @invariant()
    def nothing_is_sent_twice(self) -> None:
        """Every message has a key of its own, and an activation is first told to a person once."""
        told = self._told()
        assert len({e.body["key"] for e in told}) == len(told)
        if self.orders:
            return  # what stands when a drill ends is told as real once more
        since: dict[tuple[str, str], int] = {}
        firsts: Counter[tuple[str, str, str, int]] = Counter()
        for event in self.events:
            side = (event.body.get("rule", ""), event.body.get("side", ""))
            if event.type == "alarm" and event.body["state"] == "unacknowledged":
                since[side] = event.body["since"]
            elif event.type == "notice" and event.body["purpose"] in ("first", "next"):
                firsts[(event.body["person"], *side, since[side])] += 1
        assert all(times == 1 for times in firsts.values()), firsts

    @invariant()
    def shelving_ends(self) -> None:
        """No alarm is shelved past its end."""
        for alarm in self._alarms():
            if alarm["state"] == "shelved":
                assert alarm["shelved_until"] > self.engine.frontier

    @invariant()
    def no_cause_is_hidden(self) -> None:
        """Behind every suppressed alarm one speaks, was set aside by a person, or has only just returned."""
        life = self.engine.life
        states = {alarm["rule"]: alarm["state"] for alarm in self._alarms()}
        for name, state in states.items():
            if state != "suppressed":
                continue
            key = 2 * self.engine.frontier + 1
            behind = life.causes.behind(name, key)
            assert behind, name
            assert any(states.get(cause) in SPEAKING or life.causes.lingers(cause, key) for cause in behind), (
                name,
                states,
            )

    @invariant()
    def critical_oxygen_is_never_quiet(self) -> None:
        """It is suppressed by nothing and muted by nobody."""
        for alarm in self._alarms():
            if alarm["rule"] == "oxygen":
                assert alarm["state"] != "suppressed"
                assert alarm["muted_until"] is None

    def teardown(self) -> None:
        """In one step, without restarts, the same events, messages included."""
        whole = Engine(PLAN, at(0)).step(self.blocks, self.acts, at(self.now))
        assert whole == self.events


TestAlarms = Alarms.TestCase
TestAlarms.settings = settings(max_examples=120, stateful_step_count=40, deadline=None)
