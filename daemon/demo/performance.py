"""How do broker, daemon, player and phone play a recorded day together?"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue

from daemon.demo.folder import DemoFolder
from daemon.demo.process import DaemonProcess, Line, Progress, instant
from daemon.demo.scene import Delivered, Scene
from daemon.demo.view import View
from demo_replay.broker import HOST, Broker
from demo_replay.pace import Pace
from demo_replay.player import Player
from demo_replay.receiver import Received, Receiver
from demo_replay.script import script
from rules.block import Source
from rules.errors import TidebedError
from rules.plan import Plan

_EVERY = 0.15
"""Seconds between two drawings of how things stand."""
_ASK_EVERY = 0.3
"""Seconds between two looks at how far the daemon is."""
_KNOCK_WITHIN = 60.0
"""Seconds in which the daemon must have started."""
_PATIENCE = 60.0
"""Seconds that the daemon may take for what is left at the end."""


class DemoFailed(TidebedError):
    """A part of the demonstration does not do its work."""


@dataclass(slots=True)
class Performance:
    """What happened. readings: how many were played; seconds: of real time."""

    readings: int = 0
    seconds: float = 0.0
    lines: list[Line] = field(default_factory=list)
    """What the daemon said, in order."""
    delivered: list[Delivered] = field(default_factory=list)
    """What reached a phone, in order."""


def perform(
    folder: DemoFolder, plan: Plan, source: Source, span: tuple[int, int], pace: Pace, broker: Broker, view: View
) -> Performance:
    """Play `source` over `span` (first and last instant, ms UTC) at `pace`; returns when all is judged and delivered.

    broker: started; its port stands in the folder's site file. Whatever is started here is ended, come what may.
    Raises DemoFailed, and what its parts raise.
    """
    inbox: SimpleQueue[Line | Received] = SimpleQueue()
    with ExitStack() as stack:
        receiver = stack.enter_context(Receiver(inbox.put))
        ways = {way: receiver.address(way) for person in plan.persons for way in person.ways}
        daemon = stack.enter_context(DaemonProcess(folder.site, folder.log, ways, inbox.put))
        progress = stack.enter_context(Progress(folder.store))
        pool = stack.enter_context(ThreadPoolExecutor(1, thread_name_prefix="player"))
        player = Player(HOST, broker.port)
        # Closed before the pool, which waits for what runs in it.
        stack.callback(player.close)
        watch = _Watch(plan, span, pace, player, daemon, progress, inbox, view)
        player.knock(span[0], watch.has_begun, _KNOCK_WITHIN)
        begun = time.monotonic()
        playing = pool.submit(player.play, script(source, plan.points, *span, plan.settle), pace)
        while not playing.done():
            watch.turn()
        playing.result()
        watch.finish()
        # The last to close the store tidies it up, which a reader cannot.
        progress.close()
        daemon.stop()
        watch.take_in()
        done = watch.performance
        done.readings, done.seconds = player.sent, time.monotonic() - begun
        return done


class _Watch:
    """Takes in what daemon and phone say, shows it, and keeps the player from running ahead."""

    def __init__(
        self,
        plan: Plan,
        span: tuple[int, int],
        pace: Pace,
        player: Player,
        daemon: DaemonProcess,
        progress: Progress,
        inbox: SimpleQueue[Line | Received],
        view: View,
    ) -> None:
        self._plan, self._span, self._pace = plan, span, pace
        self._player, self._daemon, self._progress, self._inbox, self._view = player, daemon, progress, inbox, view
        self._owners = {person.id: person.name or person.id for person in plan.persons}
        self._notices: dict[str, Line] = {}
        self._early: dict[str, list[Received]] = {}
        """Messages that were faster than the daemon's word of them."""
        self._asked = 0.0
        self._judged: int | None = None
        self.performance = Performance()

    def has_begun(self) -> bool:
        """Whether the daemon has heard the played clock."""
        self._ask()
        return self._judged is not None

    def turn(self) -> None:
        """Wait a moment for what comes, take it in, show how things stand."""
        self.take_in(_EVERY)
        if time.monotonic() - self._asked >= _ASK_EVERY:
            self._ask()
        self._view.show(self._scene())

    def finish(self) -> None:
        """Until the daemon has judged everything and every message is delivered."""
        until, seen = time.monotonic() + _PATIENCE, (self._judged, len(self.performance.delivered))
        while self._judged is None or self._judged < self._span[1] or self._progress.unsent():
            self.turn()
            now = (self._judged, len(self.performance.delivered))
            if now != seen:
                until, seen = time.monotonic() + _PATIENCE, now
            if time.monotonic() > until:
                raise DemoFailed(f"the daemon does not come to an end; it says: {self._daemon.last_words()}")

    def take_in(self, patience: float = 0.0) -> None:
        """What has come; waits for the first of it up to `patience` seconds."""
        try:
            found = self._inbox.get(timeout=patience) if patience else self._inbox.get_nowait()
            while True:
                self._take(found)
                found = self._inbox.get_nowait()
        except Empty:
            pass

    def _take(self, found: Line | Received) -> None:
        if isinstance(found, Received):
            key = found.message_id.rpartition("/")[0]
            if key in self._notices:
                self._deliver(found, self._notices[key])
            else:
                self._early.setdefault(key, []).append(found)
            return
        self.performance.lines.append(found)
        self._view.event(found)
        if found["type"] == "notice":
            key = found["key"]
            self._notices[key] = found
            for message in self._early.pop(key, ()):
                self._deliver(message, found)

    def _deliver(self, message: Received, notice: Line) -> None:
        t = instant(notice)
        # The clock at which it was judged: a little after the instant itself, for readings that come late.
        due = self._player.published_at(t + self._plan.settle)
        delivered = Delivered(
            t=t,
            waited=0.0 if due is None else message.at - due,
            owner=self._owners[notice["person"]],
            title=message.title,
            body=message.body,
            priority=notice["priority"],
            purpose=notice["purpose"],
        )
        self.performance.delivered.append(delivered)
        self._view.delivered(delivered)

    def _ask(self) -> None:
        self._asked = time.monotonic()
        if not self._daemon.is_running:
            raise DemoFailed(f"the daemon has ended by itself; it says: {self._daemon.last_words()}")
        self._judged = self._progress.judged()
        if self._judged is not None:
            self._player.confirm(self._judged)

    def _scene(self) -> Scene:
        begin, end = self._span
        now = min(max(self._player.now, begin), end)
        done, whole = self._pace.seconds(begin, now), self._pace.seconds(begin, end)
        return Scene(
            now=now,
            judged=self._judged or begin,
            speed=self._pace.at(now),
            share=done / whole if whole else 1.0,
            seconds_left=whole - done,
            sent=self._player.sent,
            latest=dict(self._player.latest),
        )
