"""Are pictures of days and seasons PNG files of a phone's width that show what is to be seen?"""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from pathlib import Path

import matplotlib.image
import numpy as np
import pytest
from numpy.typing import NDArray

from adapters.recordings import Recording
from demo_replay.labels import Label
from demo_replay.pictures.day import picture_of_day
from demo_replay.pictures.ink import FAINT, LOOKS
from demo_replay.pictures.season import picture_of_season
from demo_replay.replay import WithDerived, replay
from rules.flags import Flag
from rules.plan import Plan
from tests.replays import DAY, FLOW_SHARE, HOUR, MINUTE, POINTS, START, WARM, plan, recording, rule, stage

Pixels = NDArray[np.float64]


def pixels(path: Path) -> Pixels:
    """The picture as red, green and blue, float64[height, width, 3] from 0 to 1."""
    assert path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    return np.asarray(matplotlib.image.imread(path), dtype=np.float64)[:, :, :3]


def share(picture: Pixels, colour: str) -> float:
    """Which part of the picture has a colour, give or take what drawing over paper does to it."""
    wanted = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return float(np.mean(np.all(np.abs(picture - wanted) < 0.02, axis=2)))


def coloured(picture: Pixels) -> float:
    """Which part of the picture is no grey."""
    return float(np.mean(picture.max(axis=2) - picture.min(axis=2) > 0.1))


def day(site: Plan, source: Recording, path: Path, labels: tuple[Label, ...] = ()) -> Pixels:
    """The picture of a replayed day."""
    picture_of_day(site, source, replay(site, source).events, labels, path)
    return pixels(path)


WARM_AT_NOON = [250] * 120 + [270] * 90 + [250] * 120


def test_a_day_is_as_wide_as_a_phone_and_not_blank(tmp_path: Path) -> None:
    """1080 pixels, taller than wide with a few points, and some of it is ink."""
    source = recording({"tank.temperature": WARM_AT_NOON, "loop.flow": [170] * 330})
    picture = day(plan(), source, tmp_path / "day.png")
    assert picture.shape[1] == 1080
    assert 600 < picture.shape[0] < 2000
    assert 0.02 < np.mean(picture < 0.5) < 0.5


def test_an_ordinary_day_is_grey(tmp_path: Path) -> None:
    """Without an alarm there is colour in the key alone; with one there is more."""
    calm = day(plan(), recording({"tank.temperature": [250] * 330}), tmp_path / "calm.png")
    warm = day(plan(), recording({"tank.temperature": WARM_AT_NOON}), tmp_path / "warm.png")
    assert coloured(calm) < 0.005
    assert share(warm, LOOKS["high"].colour) > 5 * share(calm, LOOKS["high"].colour)


def test_labels_stages_flags_and_gaps_are_drawn(tmp_path: Path) -> None:
    """Each adds something to the picture without them."""
    source = recording({"tank.temperature": WARM_AT_NOON})
    bare = day(plan([]), source, tmp_path / "bare.png")
    labelled = day(plan([]), source, tmp_path / "labelled.png", (Label(START, START + HOUR, "tank.warm", "sun"),))
    vents = stage("vents", point="tank.temperature", on=26, off=25)
    staged = day(plan([], [vents]), source, tmp_path / "staged.png")
    assert labelled.shape[0] > bare.shape[0]
    assert staged.shape[0] > bare.shape[0]
    flagged = recording({"tank.temperature": WARM_AT_NOON})
    flagged.blocks["tank.temperature"].flags[10:60:10] = Flag.SUSPECT
    flagged.blocks["tank.temperature"].flags[15:65:10] = Flag.FAIL
    marked = day(plan([]), flagged, tmp_path / "flagged.png")
    assert not np.array_equal(marked, bare)
    flagged.blocks["tank.temperature"].values[15] = 1_000_000
    assert not np.array_equal(day(plan([]), flagged, tmp_path / "beyond.png"), marked), "a mark at the edge"
    holes = recording({"tank.temperature": [*WARM_AT_NOON[:100], *[None] * 60, *WARM_AT_NOON[160:]]})
    assert share(day(plan([]), holes, tmp_path / "holes.png"), FAINT) > 2 * share(bare, FAINT)


def test_what_is_worked_out_is_drawn_with_what_it_is_made_of(tmp_path: Path) -> None:
    """Two strips where a rule looks at the derived point, instead of the recorded one alone."""
    source = recording({"loop.flow": [200] * 100 + [80] * 100})
    slow = rule("band", "flow.slow", point="flow.share", low="0.5", on_delay="5 min")
    site = plan([slow], derived=[FLOW_SHARE])
    replayed = replay(site, source)
    picture_of_day(
        site, WithDerived(source, replayed.derived, replayed.doubted), replayed.events, (), tmp_path / "both.png"
    )
    picture_of_day(site, source, replayed.events, (), tmp_path / "alone.png")
    both, alone = pixels(tmp_path / "both.png"), pixels(tmp_path / "alone.png")
    assert both.shape[0] > alone.shape[0] + 150
    assert coloured(both) > coloured(alone)


def test_a_point_without_a_usable_reading_is_drawn_all_the_same(tmp_path: Path) -> None:
    """Its strip is one gap."""
    source = recording({"tank.temperature": [None] * 120, "loop.flow": [170] * 120})
    assert day(plan(), source, tmp_path / "day.png").shape[1] == 1080


def test_a_recording_of_one_reading_is_drawn(tmp_path: Path) -> None:
    """A span of no length is no error."""
    assert day(plan(), recording({"tank.temperature": [270]}), tmp_path / "day.png").shape[1] == 1080


def test_only_the_span_that_is_asked_for_is_drawn(tmp_path: Path) -> None:
    """An alarm that was over before it is not in the picture."""
    source = recording({"tank.temperature": WARM_AT_NOON})
    events = replay(plan(), source).events
    picture_of_day(plan(), source, events, (), tmp_path / "late.png", (START + 250 * MINUTE, START + 329 * MINUTE))
    picture_of_day(plan(), source, events, (), tmp_path / "noon.png", (START + 100 * MINUTE, START + 329 * MINUTE))
    assert pixels(tmp_path / "late.png").shape[0] < pixels(tmp_path / "noon.png").shape[0]
    assert coloured(pixels(tmp_path / "late.png")) < 0.005


def test_a_season_shows_the_hours_out_of_band(tmp_path: Path) -> None:
    """Thirty days with one warm afternoon: the colour of its priority covers its hours' share of the calendar."""
    values = [250] * 24 * 10 + [270] * 12 + [250] * 24 * 20
    source = recording({"tank.temperature": values}, every=HOUR)
    points = [dataclasses.replace(POINTS[0], expect_every=HOUR, stale_after=3 * HOUR)]
    site = plan(points=points)
    picture_of_season(site, source, replay(site, source).events, tmp_path / "season.png")
    picture = pixels(tmp_path / "season.png")
    assert picture.shape[1] == 1080
    assert 0.005 < share(picture, LOOKS["high"].shade) < 0.05


def test_a_year_is_drawn_in_a_picture_that_can_be_opened(tmp_path: Path) -> None:
    """400 days, fewer than 5000 pixels tall."""
    source = recording({"tank.temperature": [250, 270] * 200}, every=DAY)
    picture_of_season(plan(), source, replay(plan(), source).events, tmp_path / "year.png")
    height, width, _ = pixels(tmp_path / "year.png").shape
    assert width == 1080
    assert 2000 < height < 5000


@pytest.mark.parametrize(
    "draw", [picture_of_season, lambda site, source, events, path: picture_of_day(site, source, events, (), path)]
)
def test_an_empty_recording_cannot_be_drawn(draw, tmp_path: Path) -> None:  # type: ignore[no-untyped-def] # two shapes
    """The error says so."""
    with pytest.raises(ValueError, match="no reading to draw"):
        draw(plan(), Recording({}), (), tmp_path / "none.png")


def test_nothing_is_drawn_on_a_screen_and_drawing_loads_late() -> None:
    """The replay itself needs no drawing library, and pictures need no window system's part of it."""
    code = (
        "import sys, demo_replay.replay, daemon.commands.replay; assert 'matplotlib' not in sys.modules; "
        "import demo_replay.pictures.day, demo_replay.pictures.season; assert 'matplotlib.pyplot' not in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_only_what_something_came_of_is_drawn_unless_points_are_named(tmp_path: Path) -> None:
    """The tank that was too warm; with a choice that point; where nothing happened, all that is watched."""
    slow = rule("band", "loop.slow", point="loop.flow", low="5")
    site = plan([WARM, slow])
    source = recording({"tank.temperature": WARM_AT_NOON, "loop.flow": [170] * 330})

    def tall(source: Recording, *chosen: str) -> int:
        path = tmp_path / "day.png"
        picture_of_day(site, source, replay(site, source).events, (), path, chosen=chosen)
        return int(pixels(path).shape[0])

    both = tall(source, "tank.temperature", "loop.flow")
    assert tall(source) < both - 60
    assert tall(source, "loop.flow") < both - 60
    quiet = recording({"tank.temperature": [250] * 330, "loop.flow": [170] * 330})
    assert tall(quiet) > tall(quiet, "loop.flow") + 100
