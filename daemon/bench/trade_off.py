"""How is a sweep told to a keeper, in 80 columns, and to a program, in JSON lines?"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from daemon.bench.account import counted
from daemon.bench.cases import Gathered
from demo_replay.moments import show_span
from demo_replay.tuning.grid import Written
from demo_replay.tuning.scores import Scores
from demo_replay.tuning.tune import Tuned
from rules.durations import DAY

_MOST_ROWS = 20
UNBEATEN, RECOMMENDED = "•", "◆"


def print_trade_off(console: Console, site: str, tuned: Tuned, gathered: Gathered) -> None:
    """On what it rests, the settings that no other beats beside today's, and which one to take."""
    _print_head(console, site, tuned, gathered)
    rows, hidden = _rows(tuned)
    console.print(_table(tuned, rows))
    if hidden:
        console.print(f"and {hidden:,} more that no other beats; --json prints every one")
    beaten = f"; {tuned.beats_today:,} beat today's" if tuned.beats_today else ""
    console.print(f"{UNBEATEN} no other setting beats it, {RECOMMENDED} recommended{beaten}")
    console.print()
    _print_choice(console, tuned)


def _print_head(console: Console, site: str, tuned: Tuned, gathered: Gathered) -> None:
    trial, scores = tuned.trial, tuned.scores
    console.print(Text(f"{site}: {trial.rule.id}, side {trial.side}", style="bold"))
    recordings = counted(len(tuned.cases), "recording")
    events = counted(gathered.events, "labelled event") if gathered.events else "no labelled event"
    console.print(f"{recordings}, {show_span(scores.span)} in all, {events} of this rule")
    if gathered.others:
        console.print(f"{counted(gathered.others, 'label')} of other rules left out")
    if gathered.outside:
        console.print(f"{counted(gathered.outside, 'label')} of this rule in no recording, left out")
    for remark in gathered.remarks:
        console.print(remark)
    refused = int((~tuned.possible).sum())
    tried = counted(int(tuned.possible.sum()), "setting")
    console.print(f"{tried} tried" + (f"; {refused:,} more would be refused by tidebed check" if refused else ""))
    console.print()


def _print_choice(console: Console, tuned: Tuned) -> None:
    number, why = tuned.choice
    if number is None or number == tuned.trial.grid.number_of_today():
        kept = _in_words(_today(tuned))
        console.print(Text(f"Keep {kept}" if kept else "Nothing is recommended", style="bold"))
    else:
        console.print(Text(f"Recommended: {_in_words(tuned.trial.grid.setting(number))}", style="bold"))
    console.print(why[:1].upper() + why[1:] + ".")


def _today(tuned: Tuned) -> dict[str, Written]:
    return {axis.key: axis.now_written for axis in tuned.trial.grid.axes if axis.now_written is not None}


def _in_words(setting: Mapping[str, Written]) -> str:
    return ", ".join(f"{key} = {_value(value)}" for key, value in setting.items())


def _value(value: Written) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:f}" if isinstance(value, Decimal) else str(value)


def _rows(tuned: Tuned) -> tuple[list[int], int]:
    """(settings to show, of those with equal scores the nearest to today's; how many more there are)."""
    numbers = np.flatnonzero(tuned.unbeaten)
    by_distance = numbers[np.argsort(tuned.trial.grid.distance()[numbers], kind="stable")]
    costs = tuned.costs[by_distance]
    _, first, back = np.unique(costs, axis=0, return_index=True, return_inverse=True)
    recommended = tuned.choice.setting
    shown = [int(by_distance[index]) for index in first]
    if recommended is not None and tuned.unbeaten[recommended]:
        at = int(np.flatnonzero(by_distance == recommended)[0])
        shown[int(back.reshape(-1)[at])] = recommended
    left = shown[:_MOST_ROWS]
    if recommended is not None and recommended not in left:
        left.append(recommended)
    return left, len(numbers) - len([number for number in left if tuned.unbeaten[number]])


def _table(tuned: Tuned, rows: list[int]) -> Table:
    keys, own = tuned.trial.grid.keys, tuned.trial.grid.number_of_today()
    shown = tuned.scores.rows(rows)
    chatters = bool(shown.chattering.any()) or (tuned.today is not None and bool(tuned.today.chattering.any()))
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="dim")
    table.add_column("")
    for key in keys:
        table.add_column(key.replace("_", "_\n"), justify="right", no_wrap=True)
    for title in _cells(shown.rows([0]), chatters=chatters):
        table.add_column(title, justify="right", no_wrap=True)
    for place, number in enumerate(rows):
        mark = (UNBEATEN if tuned.unbeaten[number] else "") + (RECOMMENDED if number == tuned.choice.setting else "")
        setting = tuned.trial.grid.setting(number)
        told = _cells(shown.rows([place]), chatters=chatters).values()
        table.add_row(mark + ("today" if number == own else ""), *(_bare(setting[key]) for key in keys), *told)
    if tuned.today is not None and own not in rows:
        mark = ("" if tuned.beats_today else UNBEATEN) + (RECOMMENDED if tuned.choice.setting is None else "")
        today = _today(tuned)
        told = _cells(tuned.today, chatters=chatters).values()
        table.add_row(mark + "today", *(_bare(today[key]) for key in keys), *told)
    return table


def _bare(value: Written) -> str:
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _cells(one: Scores, *, chatters: bool) -> dict[str, str]:
    """Title -> what is told of one setting."""
    told = {"alarms\na day": f"{one.a_day[0]:.3g}"}
    if one.delays.shape[1]:
        told |= {"caught": f"{one.caught[0]}", "missed": f"{one.missed[0]}"}
        told |= {
            "median\ndelay": _short(float(one.median_delay()[0])),
            "worst\ndelay": _short(float(one.worst_delay()[0])),
        }
        told |= {"false": f"{one.false[0]}"}
    else:
        told |= {"mean\nwait": _short(float(one.mean_wait()[0]))}
    if chatters:
        told |= {"chat-\nters": f"{one.chattering[0]}"}
    return told | {"in\nalarm": f"{_share(one):.1%}"}


def _share(one: Scores) -> float:
    return float(one.in_alarm[0]) / max(one.span, 1)


def _short(ms: float) -> str:
    return "-" if math.isnan(ms) else show_span(round(ms)) if ms < DAY else f"{ms / DAY:.1f} d"


def json_lines(tuned: Tuned) -> Iterator[str]:
    """A line a setting that a site file may have, then today's where it is none of them, then the recommendation."""
    grid, own = tuned.trial.grid, tuned.trial.grid.number_of_today()
    whose = {"rule": tuned.trial.rule.id, "side": tuned.trial.side}
    for number, record in enumerate(_records(tuned.scores)):
        if tuned.possible[number]:
            unbeaten, today = bool(tuned.unbeaten[number]), number == own
            setting = _plain(grid.setting(number))
            yield json.dumps({**whose, "setting": setting, **record, "unbeaten": unbeaten, "today": today})
    if tuned.today is not None and own is None:
        (record,) = _records(tuned.today)
        unbeaten = not tuned.beats_today
        yield json.dumps({**whose, "setting": _plain(_today(tuned)), **record, "unbeaten": unbeaten, "today": True})
    chosen = tuned.choice.setting
    recommended = _plain(_today(tuned) if chosen is None else grid.setting(chosen))
    keep = chosen is None or chosen == own
    yield json.dumps({**whose, "recommended": recommended, "keep": keep, "why": tuned.choice.why}, ensure_ascii=False)


def _records(scores: Scores) -> Iterator[dict[str, Any]]:
    """What is told of each setting. Durations in seconds; delays are null where nothing was caught."""
    columns = {
        "alarms": scores.alarms,
        "alarms_a_day": scores.a_day,
        "explained": scores.explained,
        "caught": scores.caught,
        "missed": scores.missed,
        "median_delay_s": scores.median_delay() / 1000,
        "worst_delay_s": scores.worst_delay() / 1000,
        "false_alarms": scores.false,
        "chattering_episodes": scores.chattering,
        "in_alarm_s": scores.in_alarm / 1000,
    }
    for row in zip(*(column.tolist() for column in columns.values()), strict=True):
        yield {name: None if value != value else value for name, value in zip(columns, row, strict=True)}


def _plain(setting: Mapping[str, Written]) -> dict[str, Any]:
    """Numbers as JSON numbers, text as text."""
    return {key: float(value) if isinstance(value, Decimal) else value for key, value in setting.items()}
