"""How is the played day told as it goes: lines for a person, or JSON lines?"""

from __future__ import annotations

import datetime as dt
import json
from contextlib import AbstractContextManager
from typing import Protocol, Self

from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from daemon.demo.lock_screen import lock_screen
from daemon.demo.process import Line
from daemon.demo.scene import Delivered, Scene
from daemon.demo.wording import QUIET, told
from rules.durations import HOUR
from rules.events import show_time
from rules.flags import Flag
from rules.local_time import Zone
from rules.plan import Plan
from rules.showing import show

LOOKED_AT = ("loop.flow", "tank.oxygen", "tank.temperature", "house.temperature")
"""The points of the lines that say how things go."""
_EVERY = 3 * HOUR
_WHAT = 17


class View(AbstractContextManager["View"], Protocol):
    """Shows the day while it is entered. All calls come from one thread."""

    def say(self, text: str) -> None:
        """A remark about the demonstration itself."""

    def event(self, line: Line) -> None:
        """The daemon said something."""

    def delivered(self, message: Delivered) -> None:
        """A message reached a phone."""

    def show(self, scene: Scene) -> None:
        """How things stand; called several times a second."""


class PlainView:
    """One line after the other: for a terminal that is no terminal, and below the live view."""

    def __init__(self, console: Console, plan: Plan) -> None:
        self.console, self.plan = console, plan
        self.zone = Zone(plan.timezone)
        self._next = 0
        self._so_far: list[tuple[int, str]] = []
        """(time, readings) that wait to be told in their turn."""
        self._points = [point for name in LOOKED_AT for point in plan.points if point.id == name]
        self._repeats: list[Delivered] = []
        """Messages that only said an alarm still stands, and are not told yet."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is left untold."""
        self._tell_repeats()

    def say(self, text: str) -> None:
        """A remark."""
        self._tell_repeats()
        self.console.print(text, style=QUIET, soft_wrap=not self.console.is_terminal)

    def event(self, line: Line) -> None:
        """A line, with the local time of the recording."""
        words = told(line)
        if words is not None:
            moment = dt.datetime.fromisoformat(line["t"]).astimezone(self.zone.info)
            self.print_line(f"{moment:%H:%M}", words.what, words.about, words.style)

    def delivered(self, message: Delivered) -> None:
        """The first message of an alarm as a phone would show it, others as a line; repeats together, hour by hour."""
        moment = self.zone.moment(message.t)
        if message.purpose == "repeat":
            if self._repeats and message.t - self._repeats[0].t > HOUR:
                self._tell_repeats()
            self._repeats.append(message)
        elif message.purpose == "first":
            self._tell_repeats()
            urgent = message.priority == "critical"
            self.console.print()
            for row in lock_screen(moment, message.owner, message.title, message.body, urgent=urgent):
                self.console.print(Text("       ") + row, soft_wrap=True)
            self.console.print(Text(f"       on the phone {message.waited:.1f} s later (real time)", QUIET))
            self.console.print()
        else:
            self._tell_repeats()
            because = ", as nobody acknowledged" if message.purpose == "next" else ""
            self.print_line(f"{moment:%H:%M}", "  message", f"to {message.owner}{because}: {message.title}", "")

    def _tell_repeats(self) -> None:
        told, self._repeats = self._repeats, []
        if told:
            first, last = (self.zone.moment(message.t) for message in (told[0], told[-1]))
            owners = " and ".join(dict.fromkeys(message.owner for message in told))
            times = f", {len(told)} since {first:%H:%M}" if len(told) > 1 else ""
            self.print_line(f"{last:%H:%M}", "  reminder", f"to {owners}{times}: {told[-1].title}", "")

    def show(self, scene: Scene) -> None:
        """A line every few hours of the recording, once the daemon has judged so far."""
        if scene.now >= self._next:
            if self._next:
                self._so_far.append((scene.now, self._readings(scene)))
            self._next = (scene.now // _EVERY + 1) * _EVERY
        while self._so_far and self._so_far[0][0] <= scene.judged:
            t, readings = self._so_far.pop(0)
            self.print_line(f"{self.zone.moment(t):%H:%M}", "  so far", readings, QUIET)

    def _readings(self, scene: Scene) -> str:
        return ", ".join(
            f"{point.name or point.id} {show(self.plan, point, found.counts)}"
            for point in self._points
            if (found := scene.latest.get(point.id)) is not None and found.flag != Flag.MISSING
        )

    def print_line(self, clock: str, what: str, about: str, style: str) -> None:
        """Time, what came and what it is about, in columns; long text goes on below its own column."""
        row: RenderableType
        if self.console.is_terminal:
            table = Table.grid(padding=(0, 1))
            table.add_column(style=QUIET, width=5)
            table.add_column(style=style, width=_WHAT)
            table.add_column(style=style, ratio=1)
            table.add_row(clock, what, about)
            row = table
        else:
            row = Text(f"{clock} {what:<{_WHAT}} {about}")
        self.console.print(row, soft_wrap=not self.console.is_terminal)


class JsonView:
    """JSON lines: the daemon's events as they are in its log, and `delivered` for what reached a phone."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing is left open."""

    def say(self, text: str) -> None:
        """Nothing: only lines of JSON."""

    def event(self, line: Line) -> None:
        """The line as it came."""
        self.print(line)

    def delivered(self, message: Delivered) -> None:
        """A line of its own."""
        self.print(
            {
                "t": show_time(message.t),
                "type": "delivered",
                "to": message.owner,
                "title": message.title,
                "text": message.body,
                "purpose": message.purpose,
                "waited_s": round(message.waited, 3),
            }
        )

    def show(self, scene: Scene) -> None:
        """Nothing."""

    def print(self, line: Line) -> None:
        """One line of JSON."""
        self._console.print(json.dumps(line, ensure_ascii=False), soft_wrap=True, markup=False, highlight=False)
