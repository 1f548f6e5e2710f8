"""How does the played day look on a terminal while it goes? Lines above, and below them what stands at this moment."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Self

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from daemon.demo.process import Line
from daemon.demo.scene import Alarms, Delivered, Scene
from daemon.demo.view import LOOKED_AT, PlainView
from daemon.demo.wording import MARKS, QUIET, STYLES
from demo_replay.script import Message
from rules.durations import HOUR, MINUTE
from rules.flags import Flag
from rules.limits_of import limits_of
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.showing import show

_LEFT_FOR_LINES = 17
"""Rows of the terminal that the lines above keep: a phone's screen must have room."""
_AROUND_READINGS = 6
_NARROWEST = 78
"""Columns of a terminal in which readings stand in two blocks."""
_WITH_LIMITS = 132
"""Columns in which they have their limits beside them."""
_WIDEST = 160
_VALUE, _AGE, _LIMITS = 12, 6, 20
_LONGEST_VALUE = 15


class LiveView:
    """The lines of PlainView scroll by above a panel that is drawn anew."""

    def __init__(self, console: Console, plan: Plan, title: str) -> None:
        self._plan, self._title = plan, title
        self._lines = _Scrolling(console, plan)
        self._alarms = Alarms(plan)
        self._live = Live(console=console, auto_refresh=False, transient=True)

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._lines.__exit__()
        self._live.stop()

    def say(self, text: str) -> None:
        """A remark, above."""
        self._lines.say(text)

    def event(self, line: Line) -> None:
        """A line above; the panel shows what stands."""
        self._alarms.hear(line)
        self._lines.event(line)

    def delivered(self, message: Delivered) -> None:
        """The phone's screen, above."""
        self._lines.delivered(message)

    def show(self, scene: Scene) -> None:
        """Draw the panel."""
        size = self._live.console.size
        self._live.update(panel(self._plan, self._title, scene, self._alarms, size.width, size.height), refresh=True)


class _Scrolling(PlainView):
    """Without the lines that say how things go: the panel does."""

    def show(self, scene: Scene) -> None:
        """Nothing."""


def panel(plan: Plan, title: str, scene: Scene, alarms: Alarms, width: int, height: int) -> RenderableType:
    """What stands at one moment, for a terminal of `width` columns and `height` rows."""
    width = min(width, _WIDEST)
    moment = Zone(plan.timezone).moment(scene.now)
    speed = f"{scene.speed:.0f} times as fast"
    head = Table.grid()
    head.add_column(width=width - len(speed))
    head.add_column(width=len(speed), style=QUIET)
    head.add_row(Text(title, "bold"), speed)
    clock = f"{moment:%a} {moment.day} {moment:%b %H:%M}"
    left = f"{scene.share:4.0%}, {_duration(scene.seconds_left)} left"
    bar = Table.grid(padding=(0, 1))
    bar.add_column(width=16)
    bar.add_column(width=max(10, width - 16 - len(left) - 3))
    bar.add_column(width=len(left), style=QUIET)
    progress = ProgressBar(total=1.0, completed=scene.share, complete_style="white", finished_style="white")
    bar.add_row(Text(clock, "bold"), progress, left)
    rows = max(4, height - _LEFT_FOR_LINES - _AROUND_READINGS)
    readings = _readings(plan, scene, alarms.priorities(), width, rows)
    return Group(Text("─" * width, QUIET), head, bar, readings, _standing(alarms))


def _readings(plan: Plan, scene: Scene, priorities: Mapping[str, str], width: int, rows: int) -> Table:
    blocks = 2 if width >= _NARROWEST else 1
    value = _LONGEST_VALUE if width >= _NARROWEST + 12 else _VALUE
    with_limits = width >= _WITH_LIMITS
    name = width // blocks - value - _AGE - (_LIMITS + 1 if with_limits else 0) - 5
    # What is abnormal must be seen, and what matters most, where there is no room for all.
    ordered = sorted(plan.points, key=lambda p: (p.id not in priorities, p.id not in LOOKED_AT, not limits_of(plan, p)))
    chosen = {point.id for point in ordered[: rows * blocks]}
    shown = [point for point in plan.points if point.id in chosen]
    height = -(-len(shown) // blocks)
    table = Table.grid(padding=(0, 1))
    for _ in range(blocks):
        table.add_column(width=1)
        table.add_column(width=max(8, name), no_wrap=True)
        table.add_column(width=value, justify="right", no_wrap=True)
        table.add_column(width=_AGE, justify="right", style=QUIET, no_wrap=True)
        if with_limits:
            table.add_column(width=_LIMITS, style=QUIET, no_wrap=True)
    for row in range(height):
        cells: list[Text] = []
        for point in shown[row::height]:
            cells += _cells(plan, point, scene, priorities.get(point.id, ""))
            if with_limits:
                cells.append(Text(limits_of(plan, point)))
        table.add_row(*cells)
    return table


def _cells(plan: Plan, point: PointPlan, scene: Scene, priority: str) -> list[Text]:
    style = STYLES.get(priority, "")
    found = scene.latest.get(point.id)
    return [
        Text(MARKS.get(priority, ""), style),
        Text(point.name or point.id, style),
        Text("" if found is None else shown_value(plan, point, found), style),
        Text("" if found is None else _age(scene.now - found.time)),
    ]


def shown_value(plan: Plan, point: PointPlan, reading: Message) -> str:
    """A reading with its unit."""
    if reading.flag == Flag.MISSING:
        return "no value"
    return show(plan, point, reading.counts)


def _standing(alarms: Alarms) -> Text:
    told = alarms.told()
    if not told:
        return Text("No alarm stands.", QUIET)
    text = Text()
    for line, name in zip(told, alarms.names(), strict=True):
        text.append(f"{MARKS.get(line['priority'], '')} {name}   ", STYLES.get(line["priority"], ""))
    return text


def _age(ms: int) -> str:
    if ms < 100_000:
        return f"{max(0, ms) // 1000} s"
    if ms < 100 * MINUTE:
        return f"{ms // MINUTE} min"
    return f"{ms // HOUR} h"


def _duration(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
