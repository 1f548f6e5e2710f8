"""What does it look like? A recorded day, watched by the real daemon, with its alerts on a phone."""

from __future__ import annotations

import argparse
import contextlib
import signal
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from daemon.arguments import json_argument
from demo_replay.broker import KINDS
from demo_replay.kinds import RECORDED

if TYPE_CHECKING:
    from rich.console import Console

    from daemon.demo.summary import Outcome
    from daemon.demo.view import View
    from rules.plan import Plan

EXAMPLE = "tidebed demo\n         tidebed demo --day frost --speed 300 --folder frost-night"

SPEED = 600.0
_SLOWEST, _FASTEST = 1.0, 5000.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """--day, --speed, --folder, --broker, --quiet, --json."""
    parser.add_argument(
        "--day",
        choices=RECORDED,
        default="pump_trip",
        metavar="DAY",
        help=f"which day: {', '.join(RECORDED)} (default pump_trip)",
    )
    parser.add_argument(
        "--speed",
        type=_speed,
        default=SPEED,
        metavar="N",
        help="how many times faster than it happened (default 600), around what is marked in the day; "
        "elsewhere twice as fast",
    )
    parser.add_argument(
        "--folder", type=Path, default=Path("tidebed-demo"), help="where its files go (default ./tidebed-demo)"
    )
    parser.add_argument("--broker", choices=KINDS, help="default: mosquitto where it is installed, else amqtt")
    parser.add_argument("--quiet", action="store_true", help="plain lines, without the live view")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: played, and a replay says the same; 1: a replay says otherwise."""
    from rich.console import Console

    # File names and numbers are not to be coloured: colour is for what is abnormal.
    console = Console(highlight=False, markup=False, emoji=False)
    with _ended_by_signal():
        outcome = _play(arguments, console)
    if arguments.json:
        from daemon.demo.summary import summary_line
        from daemon.demo.view import JsonView

        JsonView(console).print(summary_line(outcome))
    else:
        from daemon.demo.summary import print_summary

        print_summary(console, outcome)
    return 0 if outcome.same else 1


def _play(arguments: argparse.Namespace, console: Console) -> Outcome:
    from adapters.recordings import read_recordings
    from daemon.demo.folder import demo_folder, write_site
    from daemon.demo.performance import perform
    from daemon.demo.summary import Outcome
    from daemon.site.load import load_site
    from daemon.store import StoreReader
    from demo_replay.broker import Broker
    from demo_replay.label_file import read_labels
    from demo_replay.pace import Pace
    from demo_replay.pictures.day import picture_of_day
    from demo_replay.replay import replay

    with demo_folder(arguments.folder, arguments.day) as folder:
        with Broker(folder.broker, arguments.broker) as broker:
            write_site(folder, broker.port)
            plan = load_site(folder.site).plan
            points = {point.id: point for point in plan.points}
            recording = read_recordings([folder.recording], points, plan.timezone)
            labels = read_labels(folder.labels, plan.timezone)
            span = recording.span()
            assert span is not None, "a recorded day holds readings"
            pace = Pace(arguments.speed, tuple((label.start_ms, label.end_ms) for label in labels))
            with _view(arguments, console, plan) as view:
                for line in _opening(plan, arguments.day, pace.seconds(*span)):
                    view.say(line)
                performance = perform(folder, plan, recording, span, pace, broker, view)
                view.say("The day is over. It is replayed once more from the recording, and drawn.")
                with StoreReader(folder.store, plan.points) as store:
                    logged = store.events()
                replayed = replay(plan, recording)
                picture_of_day(plan, recording, logged, labels, folder.picture)
        return Outcome(
            folder=folder,
            plan=plan,
            labels=labels,
            performance=performance,
            replayed=[event.line() for event in replayed.events],
            logged=[event.line() for event in logged],
        )


def _view(arguments: argparse.Namespace, console: Console, plan: Plan) -> View:
    from daemon.demo.live import LiveView
    from daemon.demo.view import JsonView, PlainView

    if arguments.json:
        return JsonView(console)
    if arguments.quiet or not console.is_terminal:
        return PlainView(console, plan)
    return LiveView(console, plan, f"{plan.name}: {arguments.day.replace('_', ' ')}")


def _opening(plan: Plan, day: str, seconds: float) -> tuple[str, str]:
    return (
        f"{plan.name}, an invented place: a recorded day ({day}) in {round(seconds)} s.",
        "Its readings go to a message broker, where the daemon hears them.",
    )


@contextlib.contextmanager
def _ended_by_signal() -> Iterator[None]:
    """SIGTERM and Ctrl-C end it, in the background too: whatever was started is ended as well."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    previous = {number: signal.signal(number, interrupt) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)


def _speed(text: str) -> float:
    try:
        speed = float(text.removesuffix("x"))
    except ValueError:
        speed = 0.0
    if not _SLOWEST <= speed <= _FASTEST:
        raise argparse.ArgumentTypeError(f"{text!r}: write a number from {_SLOWEST:.0f} to {_FASTEST:.0f}, as in 600")
    return speed
