"""Does the page of a season tell what the store holds: extremes, hours beyond limits, stages, water, alarms?"""

from __future__ import annotations

import datetime as dt
import json
from decimal import Decimal
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest

from daemon.main import main
from daemon.reports.season_points import Course, Extreme, Mark, Midnights, marks_of
from daemon.reports.season_readings import believed
from daemon.reports.season_works import Drains, Noted, StageTime, noted, stage_times, stops
from daemon.site.load import load_site
from daemon.store import Store
from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.conditions import KINDS
from rules.conditions.cycle import CycleSettings
from rules.durations import DAY, HOUR, MINUTE
from rules.engine import Engine
from rules.events import Event
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from tests.held_source import HeldSource

START = 1_780_272_000_000
"""2026-06-01 00:00 UTC."""
UTC = Zone("UTC")
AIR = PointPlan("house.air", "air_temperature", "degC", Fraction(1, 10), 60_000, 10 * MINUTE)
LEVEL = PointPlan("bed1.level", "level", "cm", Fraction(1), 60_000, 10 * MINUTE)


def course(*marks: Mark, end: int = START + DAY) -> Course:
    """Of the air, in one day."""
    return Course(AIR, marks, Midnights(UTC, START, end))


def air(*readings: tuple[int, int]) -> Block:
    """(minutes from the start, tenths of a degree)."""
    return block("house.air", [START + at * MINUTE for at, _ in readings], [counts for _, counts in readings])


def test_the_lowest_and_the_highest_have_the_time_at_which_they_first_were() -> None:
    """Whatever comes in one block or in several."""
    for parts in ([air((0, 50), (5, 20), (6, 20), (9, 90))], [air((0, 50), (5, 20)), air((6, 20), (9, 90))]):
        made = course()
        for part in parts:
            made.add(part)
        assert made.low == Extreme(START + 5 * MINUTE, 20)
        assert made.high == Extreme(START + 9 * MINUTE, 90)
        assert made.readings == 4


def test_hours_beyond_a_limit_count_while_a_reading_is_held_and_not_at_the_limit() -> None:
    """Below 10.0 and above 10.0; 10.0 itself is neither; no reading is held longer than it stays fresh."""
    made = course(Mark("low", Fraction(100), "cold"), Mark("high", Fraction(100), "hot"))
    made.add(air((0, 99), (2, 100), (5, 101), (6, 100)))
    made.add(air((60, 99)))
    made.end(START + 65 * MINUTE)
    assert made.beyond == [2 * MINUTE + 5 * MINUTE, MINUTE]
    assert made.heard == 6 * MINUTE + 10 * MINUTE + 5 * MINUTE


def test_the_hold_of_the_last_reading_ends_with_the_season() -> None:
    """Or when it is stale, whichever comes first."""
    made = course()
    made.add(air((0, 99)))
    made.end(START + DAY)
    assert made.heard == AIR.stale_after


def test_days_are_the_places_own_also_where_a_clock_is_changed() -> None:
    """The night of 29 March 2026 has 23 hours in Dublin; midnight belongs to the day that begins."""
    zone = Zone("Europe/Dublin")
    first = round(dt.datetime(2026, 3, 28, tzinfo=zone.info).timestamp() * 1000)
    midnights = Midnights(zone, first, first + 3 * DAY - HOUR)
    made = Course(AIR, (), midnights)
    times = [first, first + DAY - 1, first + DAY, first + 2 * DAY - HOUR - 1, first + 2 * DAY - HOUR]
    made.add(block("house.air", times, [1, 2, 3, 4, 5]))
    assert made.days == {dt.date(2026, 3, 28): (1, 2), dt.date(2026, 3, 29): (3, 4), dt.date(2026, 3, 30): (5, 5)}


def test_marks_are_the_bands_limits_and_for_air_what_keepers_compare() -> None:
    """In the point's own unit; a rule's limit is told as that rule's."""
    rule = KINDS["band"].model_validate({"id": "cold", "kind": "band", "point": "house.air", "low": 5})
    marks = marks_of(Plan("x", "UTC", (AIR,), (rule,)), AIR)
    assert [(m.side, float(m.limit / 10)) for m in marks] == [
        ("low", 12.5), ("low", 10), ("low", 5), ("low", 0), ("high", 32), ("high", 36), ("high", 40)
    ]  # fmt: skip
    assert [m.rule for m in marks if m.rule] == ["cold"]
    assert marks_of(Plan("x", "UTC", (LEVEL,)), LEVEL) == ()


def test_only_readings_that_can_be_believed_count() -> None:
    """Of tests that judge by the reading after, across midnight too: here a spike is the last of its day."""
    plan = load_site(Path("demo_replay/days/site.toml")).plan
    point = next(point for point in plan.points if point.quantity == "air_temperature")
    normal = int(20 / point.resolution)
    times = [START + DAY + at * MINUTE for at in range(-5, 6)]
    values = [normal] * 4 + [2 * normal] + [normal] * 6
    source = HeldSource({point.id: block(point.id, times, values)})
    days = list(believed([point], source, START, START + 2 * DAY, UTC))
    counts = [value for day in days for value in day[point.id].values.tolist()]
    assert counts == [normal] * 10


def rule_of(**settings: str) -> CycleSettings:
    """Marks at 4 and 19 cm."""
    made = {"id": "bed1", "kind": "cycle", "point": "bed1.level", "low": 4, "high": 19, "longest": "1 h", **settings}
    return CycleSettings.model_validate(made)


def test_a_drain_ends_at_the_low_mark_after_the_high_one() -> None:
    """Both marks belong to it; the first period is that between the first two."""
    drains = Drains(rule_of(), LEVEL)
    minutes = [0, 5, 10, 15, 20, 25, 30, 35]
    drains.add(block("bed1.level", [START + m * MINUTE for m in minutes], [5, 19, 4, 18, 3, 20, 10, 4]))
    told = drains.told()
    assert (told.drains, told.typical, told.spread) == (2, 25 * MINUTE, None)


def test_no_period_spans_a_silence() -> None:
    """Nobody knows what the bed did meanwhile."""
    drains = Drains(rule_of(), LEVEL)
    drains.add(block("bed1.level", [START, START + 5 * MINUTE], [19, 4]))
    drains.add(block("bed1.level", [START + HOUR, START + HOUR + 5 * MINUTE, START + HOUR + 10 * MINUTE], [4, 19, 4]))
    assert (drains.told().drains, drains.told().typical) == (2, None)


def decided(at: int, stage: str, action: str) -> Event:
    """A stage is decided upon, minutes from the start."""
    return Event(START + at * MINUTE, "decision", {"stage": stage, "action": action, "does": "open_vents"})


def test_stages_count_their_time_within_the_season_and_how_often_they_were_enough() -> None:
    """What began before counts from its beginning on, what still runs to its end."""
    events = [
        decided(-10, "vents", "engage"),
        decided(10, "fans", "hold"),
        decided(20, "vents", "release"),
        decided(30, "vents", "engage"),
        decided(40, "fans", "engage"),
        decided(50, "fans", "release"),
    ]
    assert stage_times(events, START, START + HOUR) == [
        StageTime("vents", "open_vents", 50 * MINUTE, 2, 1),
        StageTime("fans", "open_vents", 10 * MINUTE, 1, 1),
    ]


def changed(at: int, state: str) -> Event:
    """The water's alarm changes, minutes from the start."""
    body = {"rule": "loop.stopped", "side": "stopped", "state": state, "why": f"{state} it is"}
    return Event(START + at * MINUTE, "alarm", body)


def test_a_stop_lasts_from_its_alarm_to_its_return_whatever_people_do_meanwhile() -> None:
    """One that stands at the end lasts until then; one that was over before is not of this season."""
    events = [
        changed(-30, "unacknowledged"), changed(-20, "returned"),
        changed(5, "unacknowledged"), changed(6, "acknowledged"), changed(25, "normal"),
        changed(50, "unacknowledged"),
    ]  # fmt: skip
    found = stops(events, ["loop.stopped"], START, START + HOUR)
    assert [(one.at - START, one.lasted) for one in found] == [
        (5 * MINUTE, 20 * MINUTE),
        (50 * MINUTE, 10 * MINUTE),
    ]
    assert found[0].why == "unacknowledged it is"
    assert stops(events, ["other"], START, START + HOUR) == []


def test_a_stop_that_another_alarm_explains_is_not_counted_twice() -> None:
    """It was suppressed from its beginning."""
    assert stops([changed(5, "suppressed"), changed(9, "normal")], ["loop.stopped"], START, START + HOUR) == []


def test_notes_add_up_by_kind_and_unit() -> None:
    """An amount that is no number is counted as a note alone."""
    entered = [("feeding", "120", "g"), ("feeding", "80.5", "g"), ("top_up", "40", "L"), ("feeding", "lots", "g")]
    acts = [
        Act(START, ActKind.NOTE, data={"kind": kind, "amount": amount, "unit": unit}) for kind, amount, unit in entered
    ]
    assert noted([*acts, Act(START, ActKind.ACKNOWLEDGE)]) == [
        Noted("feeding", 3, {"g": Decimal("200.5")}),
        Noted("top_up", 1, {"L": Decimal(40)}),
    ]


SITE = """
[site]
name = "Alder Lane"
timezone = "UTC"
display = { temperature = "degF" }

[[point]]
id = "house.air"
name = "Air <inside>"
quantity = "air_temperature"
expect_every = "60 s"
quality = "none"

[[point]]
id = "tank.oxygen"
quantity = "dissolved_oxygen"
expect_every = "60 s"

[[rule]]
id = "house.hot"
kind = "band"
point = "house.air"
high = 30
priority = "high"

[[stage]]
id = "vents"
action = "open_vents"
point = "house.air"
on = 28
off = 26

[[person]]
id = "anna"
ways = ["phone"]
"""


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A site whose air was hot twice in three days, once truly."""
    file = tmp_path / "site.toml"
    file.write_text(SITE)
    site = load_site(file)
    minutes = range(1, 3 * 24 * 60)
    hot = (60, 120), (1500, 1530)
    values = [3500 if any(a <= m < b for a, b in hot) else 2000 for m in minutes]
    readings = block("house.air", [START + m * MINUTE for m in minutes], values)
    acts = [
        Act(START + 70 * MINUTE, ActKind.ACKNOWLEDGE, "anna", "house.hot"),
        Act(START + 80 * MINUTE, ActKind.NOTE, "anna", data={"kind": "feeding", "amount": "120", "unit": "g"}),
        Act(START + 90 * MINUTE, ActKind.NOTE, "tidebed", text="house.hot high 29 -> 30", data={"kind": "settings"}),
    ]
    engine = Engine(site.plan, START)
    events = engine.step([readings], acts, START + 3 * DAY)
    with Store(site.store_path, site.plan.points) as store:
        store.commit([readings], events=events, checkpoint=engine.state(), acts=acts)
    (tmp_path / "labels.csv").write_text(
        "start,end,rule,note\n2026-06-01T00:30:00Z,2026-06-01T01:30:00Z,house.hot,shade was off\n"
        "2026-06-02T00:30:00Z,2026-06-02T02:00:00Z,other.rule,another\n"
    )
    return file


class Page(HTMLParser):
    """What a page asks for from elsewhere, and its text."""

    def __init__(self) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Anything that makes a browser fetch."""
        self.loads += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href", "srcset", "data", "action")]
        if tag in ("script", "link", "iframe", "img", "object"):
            self.loads.append(tag)

    def handle_data(self, data: str) -> None:
        """Text."""
        self.text.append(data)


def test_a_season_is_one_page_that_loads_nothing(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Extremes in the keeper's unit, hours over limits, stages, notes, alarms real or not, and who was never heard."""
    words = ["report", "season", str(kept), "--from", "2026-05-01", "--to", "2026-07-01"]
    out = kept.parent / "season.html"
    assert main([*words, "--labels", str(kept.parent / "labels.csv"), "--out", str(out)]) == 0
    html = out.read_text()
    page = Page()
    page.feed(html)
    assert page.loads == []
    assert "url(" not in html
    assert "@import" not in html
    text = " ".join(" ".join(page.text).split())
    for told in (
        "The season of Alder Lane", "Watched 72.0 h", "tank.oxygen", "Air <inside> 68.0 °F to 95.0 °F",
        "over 86.0 °F house.hot 1.5 h", "vents enough 2 times 1.5 h, 2 times", "feeding 120 g once",
        "house.hot (high) acknowledged after 10 min; 1 real, 1 not marked as real 2 times", "Time to acknowledge",
        "Limits changed once Mon 01 Jun 01:30 house.hot high 29 -> 30",
    ):  # fmt: skip
        assert told in text, told
    assert "over 96.8 °F" not in text
    assert capsys.readouterr().out == f"Report: {out}\n"


def test_a_season_is_printed_and_given_as_lines(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same parts; without labels nothing is said of real or false."""
    words = ["report", "season", str(kept), "--from", "2026-05-01", "--to", "2026-07-01"]
    assert main(words) == 0
    told = capsys.readouterr().out
    assert "Stages: 1.5 h" in told
    assert "real" not in told
    assert main([*words, "--json"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert next(line for line in lines if line["name"] == "Stages")["rows"] == [
        ["vents", "1.5 h, 2 times", "enough 2 times"]
    ]
    assert all(line["from"] == "2026-05-01T00:00:00.000Z" for line in lines)


def test_a_season_of_which_nothing_is_kept_is_refused(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With what there is."""
    assert main(["report", "season", str(kept), "--from", "2025-05-01", "--to", "2025-07-01"]) == 2
    assert "holds readings from 2026-06-01" in capsys.readouterr().err
    assert main(["report", "alarms", str(kept), "--labels", "x.csv"]) == 2
    assert "--labels goes with" in capsys.readouterr().err
