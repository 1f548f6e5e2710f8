"""Do the laws of alarms hold whatever happens? No alarm lost, none sent twice, shelving ends, no cause hidden.

Random readings, acts, passing of time, restarts, times without power, and a board whose clock is set back and forth; at
the end everything is judged again in one step.
"""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from daemon.clock import SystemClock
from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.delays import due_key
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
        self.wall, self.monotonic = at(0), 0
        """The board's clocks, ms."""
        self.clock = self._board()
        self.engine = Engine(PLAN, at(0))
        self.blocks: list[Block] = []
        self.acts: list[Act] = []
        self.events: list[Event] = []
        self.orders = False
        """Whether a mute, a drill or an absence was ever ordered."""

    def _board(self) -> SystemClock:
        return SystemClock(lambda: self.wall * 1_000_000, lambda: self.monotonic * 1_000_000)

    def _pass(self, seconds: int) -> int:
        """Time passes; what the daemon takes the time to be then, ms UTC."""
        for _ in range(2):  # the daemon looks at its clock all the time
            self.wall += 500 * seconds
            self.monotonic += 500 * seconds
            now = self.clock.now()
        return max(now, self.engine.frontier + 1)

    def _step(self, now: int, blocks: list[Block], acts: list[Act]) -> None:
        self.blocks += blocks
        self.acts += acts
        self.events += self.engine.step(blocks, acts, now)

    @rule(seconds=st.sampled_from([1, 19, 20, 59, 60, 61, 120, 300, 600, 1800]))
    def time_passes(self, seconds: int) -> None:
        """Nothing comes."""
        self._step(self._pass(seconds), [], [])

    @rule(point=st.sampled_from("pqw"), value=st.sampled_from([7, 9, 11, 13]), wait=st.sampled_from([1, 5, 20, 60]))
    def a_reading_comes(self, point: str, value: int, wait: int) -> None:
        """Below the limit, within the deadband, above one limit or both."""
        now = self._pass(wait)
        self._step(now, [block(point, [now], [value])], [])

    @rule(
        kind=st.sampled_from(["acknowledge", "acknowledge", "reset", "unshelve", "out_of_service", "in_service"]),
        name=st.sampled_from([None, *NAMES]),
    )
    def somebody_acts(self, kind: str, name: str | None) -> None:
        """On one alarm or on all."""
        now = self._pass(1)
        self._step(now, [], [Act(now, ActKind(kind), "anna", name)])

    @rule(name=st.sampled_from(NAMES), lasts=st.sampled_from([1, 60, 600]))
    def somebody_shelves(self, name: str, lasts: int) -> None:
        """For a while."""
        now = self._pass(1)
        self._step(now, [], [Act(now, ActKind.SHELVE, "anna", name, until=now + 1000 * lasts)])

    @rule(
        kind=st.sampled_from(["mute", "drill", "away"]), name=st.sampled_from(NAMES), lasts=st.sampled_from([60, 900])
    )
    def somebody_orders(self, kind: str, name: str, lasts: int) -> None:
        """A mute, a drill, an absence."""
        now = self._pass(1)
        self.orders = True
        data = {"on_duty": "ben"} if kind == "away" else {"rules": name}
        self._step(now, [], [Act(now, ActKind(kind), "anna", until=now + 1000 * lasts, data=data)])

    @rule(step=st.sampled_from([-7200, -300, -1, 1, 300]))
    def the_clock_is_set(self, step: int) -> None:
        """By somebody, or by the network."""
        self.wall += 1000 * step

    @rule(seconds=st.sampled_from([0, 1, 90, 1800]))
    def it_restarts(self, seconds: int) -> None:
        """From what is written down, after so long without power; where the clock is behind that, from there on."""
        self.engine = Engine.restore(PLAN, json.loads(json.dumps(self.engine.state())))
        self.clock = self._board()
        now = self._pass(seconds)
        if self.clock.doubt(self.engine.now):
            self.clock.go_on_from(self.engine.now)
            now = self.clock.now()
        begin = self.engine.frontier + 1
        if now > begin:
            self._step(now, [], [Act(begin, ActKind.OFF, "tidebed", until=now)])

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
            told_by = due_key(2 * known.raised, waits, life.running)
            if told_by > 2 * self.engine.frontier + 1 or (life.router.flood.runs and waits):
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
    def time_never_goes_back(self) -> None:
        """Whatever becomes of the board's clock: events stand in order."""
        assert [event.t for event in self.events] == sorted(event.t for event in self.events)

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
        whole = Engine(PLAN, at(0)).step(self.blocks, self.acts, self.engine.now)
        assert whole == self.events


TestAlarms = Alarms.TestCase
TestAlarms.settings = settings(max_examples=120, stateful_step_count=40, deadline=None)
