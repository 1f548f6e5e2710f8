"""Are the daemon's own rules ordinary rules that a site file can set and leave out?"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from daemon.selfwatch.names import OWN, RULES
from daemon.selfwatch.plan import watched
from daemon.site.load import Site, problems_of, site_from_text
from daemon.site.reach import SelfwatchTable
from rules.block import block
from rules.conditions.band import BandSettings
from rules.engine import Engine
from rules.events import Event
from rules.people import PersonSettings
from rules.settings import Priority
from tests.site_files import SITE

START = 1_780_000_000_000
BROKER = """
[adapter.mqtt]
host = "127.0.0.1"
username = "tidebed"
password_env = "NOWHERE"
topics = [{ topic = "a", point = "house.air" }]
"""
SILENT = """
[[rule]]
id = "tank.silent"
kind = "silent"
point = "tank.temperature"
priority = "medium"
"""


def site(more: str = "", text: str = SITE, delay: str = "0 s") -> Site:
    """The site of the tests with more in its file. delay: of the rule that a point is silent."""
    return site_from_text(f'{text}{SILENT}on_delay = "{delay}"\n{BROKER}{more}', Path("site.toml"))


def events(made: Site, point: str, counts: list[int], rule: str) -> list[Event]:
    """What a rule says to one value a minute of one of our points."""
    engine = Engine(watched(made), START)
    times = [START + 60_000 * (index + 1) for index in range(len(counts))]
    found = engine.step([block(point, times, counts)], [], times[-1] + 1000)
    return [event for event in found if event.type == "alarm" and event.body["rule"] == rule]


def test_they_stand_behind_the_site_files_own() -> None:
    """All of them, with their points; none of the keeper's is touched."""
    made = site()
    plan = watched(made)
    assert plan.rules[: len(made.plan.rules)] == made.plan.rules
    assert [rule.id for rule in plan.rules[len(made.plan.rules) :]] == list(RULES)
    assert all(point.id.startswith(OWN) for point in plan.points[len(made.plan.points) :])


def test_they_can_be_switched_off_left_out_and_set() -> None:
    """By [selfwatch]."""
    assert watched(site("[selfwatch]\nenabled = false")) == site("[selfwatch]\nenabled = false").plan
    made = site('[selfwatch]\nwithout = ["tidebed.disk"]\npriorities = { "tidebed.clock" = "low" }')
    rules = {rule.id: rule for rule in watched(made).rules}
    assert "tidebed.disk" not in rules
    assert rules["tidebed.clock"].priority == "low"


def test_a_site_without_anything_that_brings_readings_has_no_rule_that_misses_them() -> None:
    """It would stand for ever."""
    made = site_from_text(SITE, Path("site.toml"))
    assert "tidebed.no_readings" not in [rule.id for rule in watched(made).rules]


@pytest.mark.parametrize(
    ("rule", "point", "limit", "beyond"),
    [
        ("tidebed.no_readings", "tidebed.readings_age", 225, 226),
        ("tidebed.clock", "tidebed.clock_jump", 2000, 2001),
        ("tidebed.disk", "tidebed.disk_free", 50, 49),
        ("tidebed.unsent", "tidebed.unsent_age", 300, 301),
        ("tidebed.not_taken", "tidebed.refused", 0, 1),
        ("tidebed.store", "tidebed.commit_time", 5000, 5001),
        ("tidebed.restarted", "tidebed.starts", 3, 4),
    ],
)
def test_each_speaks_beyond_its_limit_and_not_at_it(rule: str, point: str, limit: int, beyond: int) -> None:
    """With the values that are set where the file says nothing."""
    assert events(site(), point, [limit, limit], rule) == []
    (raised,) = events(site(), point, [limit, beyond], rule)
    assert raised.body["state"] == "unacknowledged"
    assert raised.t == START + 120_000


@pytest.mark.parametrize(("limit", "told"), [(799, 0), (800, 0), (801, 1)], ids=["below", "at", "above"])
def test_a_hot_board_speaks_after_five_minutes(limit: int, told: int) -> None:
    """A short burst of work is no fault."""
    assert events(site(), "tidebed.board_temperature", [limit] * 5, "tidebed.board_hot") == []
    raised = events(site(), "tidebed.board_temperature", [limit] * 7, "tidebed.board_hot")
    assert [event.t for event in raised] == [START + 360_000] * told


def test_their_limits_follow_the_site_file() -> None:
    """Two minutes instead of five."""
    made = site('[selfwatch]\nno_readings_after = "2 min"')
    assert events(made, "tidebed.readings_age", [120], "tidebed.no_readings") == []
    assert len(events(made, "tidebed.readings_age", [121], "tidebed.no_readings")) == 1


@pytest.mark.parametrize(
    ("stale_after", "on_delay", "limit"),
    [("5 min", "0 s", 225), ("5 min", "100 s", 300), ("5 min", "1 h", 300), ("40 s", "10 s", 60)],
    ids=["sooner than it", "with its delay", "five minutes at most", "a minute at least"],
)
def test_no_readings_at_all_comes_before_the_silent_points_that_it_speaks_for(
    stale_after: str, on_delay: str, limit: int
) -> None:
    """Three quarters of what the first of them is given; a message is held a minute to see whether that comes."""
    text = SITE.replace('stale_after = "5 min"', f'stale_after = "{stale_after}"')
    made = site(text=text.replace('expect_every = "60 s"', 'expect_every = "10 s"'), more="", delay=on_delay)
    assert events(made, "tidebed.readings_age", [limit], "tidebed.no_readings") == []
    assert len(events(made, "tidebed.readings_age", [limit + 1], "tidebed.no_readings")) == 1


def test_a_site_of_slow_points_alone_is_given_their_time() -> None:
    """Where the fastest speaks every half hour, five minutes without a word are nothing."""
    text = re.sub(r'(expect_every|stale_after) = "[^"]*"\n', "", SITE)
    text = re.sub(r"(\[\[point\]\]\n)", r'\1expect_every = "30 min"\n', text)
    made = site(text=text)
    assert events(made, "tidebed.readings_age", [4050], "tidebed.no_readings") == []
    assert len(events(made, "tidebed.readings_age", [4051], "tidebed.no_readings")) == 1


def test_no_readings_at_all_speaks_for_every_silent_point() -> None:
    """One message in place of one a point."""
    rules = {rule.id: rule for rule in watched(site()).rules}
    assert rules["tidebed.no_readings"].explains == ("tank.silent",)


@pytest.mark.parametrize(("priority", "own"), [("low", "high"), ("high", "high"), ("critical", "critical")])
def test_no_readings_at_all_wakes_whom_a_silent_point_would_wake(priority: str, own: str) -> None:
    """What is critical breaks through quiet hours; the alarm that speaks in its place must too."""
    more = f'[[rule]]\nid = "air.silent"\nkind = "silent"\npoint = "tank.temperature"\npriority = "{priority}"\n'
    rules = {rule.id: rule for rule in watched(site(more)).rules}
    assert rules["tidebed.no_readings"].priority == own


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ('[messages]\ngathr = "1 min"', "unknown key"),
        ('[texts]\n"title.hihg" = "x"', "is no text of ours"),
        ('[texts]\n"title.high" = "{pint} hoch"', "{pint} cannot be filled in"),
        ('[texts]\n"title.high" = "{point} {value"', "has a brace that holds no name"),
        ('[texts]\n"title.high" = "{Point} hoch"', "has a brace that holds no name"),
        ('[selfwatch]\nwithout = ["tidebed.disc"]', "there is no built-in rule tidebed.disc"),
        ('[selfwatch]\npriorities = { "tank.warm" = "low" }', "there is no built-in rule tank.warm"),
        ('[sending]\nbroker = "other"', "there is no broker other"),
        ('[sending]\nack_topic = "home/+"', "ack_topic must name one topic"),
        ('[web]\nlisten = "8600"', "is no address and port"),
        ('[web]\nlisten = "127.0.0.1:99999"', "is no address and port"),
        ('[web]\nlink_base = "https://home.example"', "link_base needs listen"),
        ('[web]\nlisten = "127.0.0.1:8600"\nlink_base = "home.example"', "is no web address"),
        ('[web]\nlink_valid = "30 d"', "must be at most 7 d"),
        ('[heartbeat]\nevery = "1 s"', "must be at least 10 s"),
        ('[[person]]\nid = "ben"\nways = ["ben_phone"]\nnext_way_after = "5 min"', "needs a second way"),
        ('[[rule]]\nid = "tidebed.mine"\nkind = "silent"\npoint = "house.air"', "are the daemon's own"),
    ],
)
def test_what_cannot_work_is_told(more: str, told: str) -> None:
    """With the line, before anything of the file is used."""
    problems = problems_of(SITE + BROKER + more)
    assert len(problems) == 1
    assert told in problems[0].what
    assert problems[0].line is not None


def test_answers_from_anybody_are_refused() -> None:
    """A topic on which everybody may publish acknowledges for everybody."""
    open_broker = BROKER.replace('username = "tidebed"\npassword_env = "NOWHERE"\n', "")
    (problem,) = problems_of(SITE + open_broker + '[sending]\nack_topic = "home/ack"')
    assert "needs a login at the broker" in problem.what
    assert problems_of(SITE + BROKER + '[sending]\nack_topic = "home/ack"') == []


def test_the_places_of_the_endpoint_are_read() -> None:
    """With and without brackets."""
    assert site('[web]\nlisten = "127.0.0.1:8600"').web.place() == ("127.0.0.1", 8600)
    assert site('[web]\nlisten = "[::1]:8600"').web.place() == ("::1", 8600)
    assert site().web.place() is None


def test_the_keepers_words_and_message_settings_reach_the_plan() -> None:
    """[messages] and [texts]."""
    made = site('[messages]\ngather = "2 min"\n[texts]\n"title.high" = "{point} zu hoch: {value}"')
    assert made.plan.messages.gather == 120_000
    assert made.plan.texts == {"title.high": "{point} zu hoch: {value}"}


def chatters(made: Site, rule: str) -> str:
    """What is told of a built-in rule that comes and goes every minute."""
    plan = watched(made)
    settings = next(one for one in plan.rules if one.id == rule)
    assert isinstance(settings, BandSettings)
    point = next(one for one in plan.points if one.id == settings.point)
    persons = (PersonSettings(id="anna", ways=("phone",), priorities=tuple(Priority)),)
    engine = Engine(replace(plan, persons=persons), START)
    inside, beyond = (1000, 0) if settings.low is not None else (0, 999_999)
    counts = [inside, beyond] * 30 if not settings.on_delay else ([inside] * 7 + [beyond] * 7) * 4
    times = [START + 60_000 * (index + 1) for index in range(len(counts))]
    found = engine.step([block(point.id, times, counts)], [], times[-1] + 1000)
    return str(next(e.body["text"] for e in found if e.type == "notice" and e.body["purpose"] == "chattering"))


@pytest.mark.parametrize(
    ("rule", "advice"),
    [
        ("tidebed.no_readings", "In [selfwatch], raise no_readings_after (now 225 s)."),
        ("tidebed.clock", "In [selfwatch], raise clock_jump (now 2 s)."),
        ("tidebed.disk", "In [selfwatch], lower disk_free (now 5.0)."),
        ("tidebed.unsent", "In [selfwatch], raise unsent_after (now 6 min)."),
        ("tidebed.not_taken", "There is nothing to set for it."),
        ("tidebed.store", "In [selfwatch], raise slow_commit (now 5 s)."),
        ("tidebed.restarted", "In [selfwatch], raise restarts (now 3)."),
        ("tidebed.board_hot", "In [selfwatch], raise board_hot (now 80.0)."),
    ],
)
def test_one_that_comes_and_goes_names_the_key_that_the_keeper_can_set(rule: str, advice: str) -> None:
    """It stands in [selfwatch]: the site file has no deadband and no delay of these rules."""
    told = chatters(site('[selfwatch]\nunsent_after = "6 min"'), rule)
    assert advice in told
    assert "deadband" not in told
    assert "_delay" not in told
    key = re.search(r"(?:raise|lower) (\w+)", advice)
    assert key is None or key[1] in SelfwatchTable.model_fields
