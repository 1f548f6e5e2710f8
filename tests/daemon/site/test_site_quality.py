"""Are the quality tests of a point read from the site file, and is every mistake in them told where it stands?"""
# ruff: noqa: E501 - one mistake a line reads as a table

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.site.load import problems_of, site_from_text
from daemon.site.schema import site_schema
from rules.quality.gap import GapSettings
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.registry import NAMES, TESTS
from rules.quality.settings import QualitySettings

POINT = """\
[[point]]
id = "tank.ph"
quantity = "ph"
quality = {0}

[[point]]
id = "sump.ph"
quantity = "ph"

[[point]]
id = "sump.level"
quantity = "level"
unit = "cm"

[[derived]]
id = "tank.ph_lowest"
kind = "over_window"
point = "tank.ph"
take = "min"
"""


def read(quality: str) -> dict[str, QualitySettings]:
    """Those of tank.ph where `quality` stands there."""
    site = site_from_text(POINT.format(quality), Path("site.toml"))
    return {NAMES[type(test)]: test for test in site.plan.point("tank.ph").quality}


def test_a_point_without_the_key_has_the_tests_of_its_quantity() -> None:
    """And so does a derived point have none: its flag is the worst of its inputs'."""
    site = site_from_text(POINT.replace("quality = {0}\n", ""), Path("site.toml"))
    assert [NAMES[type(test)] for test in site.plan.point("tank.ph").quality] == ["gross_range", "spike", "flat_line"]


def test_none_switches_them_off() -> None:
    """All of them, or one."""
    assert read('"none"') == {}
    assert list(read('{ spike = "none" }')) == ["gross_range", "flat_line"]


def test_a_table_changes_and_adds() -> None:
    """In the point's unit or another; what it leaves out stays."""
    found = read('{ gross_range = { suspect_low = 6.0, suspect_high = "9 pH" }, gap = { limit = "20 min" } }')
    gross, gap = found["gross_range"], found["gap"]
    assert isinstance(gross, GrossRangeSettings)
    assert [str(end) for end in (gross.fail_low, gross.suspect_low, gross.suspect_high)] == ["0 pH", "6.0", "9 pH"]
    assert isinstance(gap, GapSettings)
    assert gap.limit == 20 * 60_000


def test_a_table_may_also_be_written_in_parts() -> None:
    """TOML's dotted tables lead to the same."""
    text = POINT.replace("quality = {0}", 'quality.gap.limit = "20 min"\nquality.spike = "none"')
    site = site_from_text(text, Path("site.toml"))
    assert {NAMES[type(test)] for test in site.plan.point("tank.ph").quality} == {"gross_range", "gap", "flat_line"}


@pytest.mark.parametrize(
    ("quality", "expected"),
    [
        ('"off"', 'quality = "off"  is not known here; write none'),
        ("3", "quality = 3  is not known here; write none"),
        ("{ gros_range = {} }", "quality.gros_range  unknown key; did you mean gross_range?"),
        ("{ spike = { suspekt = 1 } }", "quality.spike.suspekt = 1  unknown key; did you mean suspect?"),
        ("{ spike = { method = 'median' } }", 'quality.spike.method = "median"  is not known here; write average or differential'),
        ("{ spike = { suspect = true } }", "quality.spike.suspect = true  is no amount; write a number in the point's unit, or text with a unit of its own"),
        ("{ gap = {} }", "quality.gap.limit  is missing; the longest wait that is no gap"),
        ("{ gap = { limit = 20 } }", 'quality.gap.limit = 20  20 has no unit; write "20 s" or "20 min"'),
        ("{ gap = { limit = '0 s' } }", 'quality.gap.limit = "0 s"  must be more than 0 s; write a larger one'),
        ("{ gross_range = { fail_high = '3 L' } }", "quality.gross_range  L measures volume, not ph (pH); write amounts in pH, or with a unit that fits"),
        ("{ gross_range = { suspect_high = 15 } }", "quality.gross_range  fail_high is below suspect_high; what fails must lie further out"),
        ("{ spike = { suspect = 2 } }", "quality.spike  fail is below suspect; what fails must stand out further"),
        ("{ flat_line = { suspect_time = '3 d' } }", "quality.flat_line  fail_time is shorter than suspect_time; swap them"),
        ("{ rate_of_change = { suspect = '1 degC/min' } }", "quality.rate_of_change  degC/min does not measure a change of ph (pH); write amounts in pH, or with a unit that fits"),
        ("{ climatology = { spans = [{ months = '13', low = 1 }] } }", "quality.climatology  months '13' are not understood; write them as \"4-9\", \"11-2\" or \"7\""),
        ("{ climatology = { spans = [{ lo = 1 }] } }", "quality.climatology.spans[1].lo = 1  unknown key; did you mean low?"),
        ("{ neighbour = { points = ['sump.p'], fail = 1 } }", 'quality.neighbour.points[1] = "sump.p"  there is no point sump.p; did you mean sump.ph?'),
        ("{ neighbour = { points = ['tank.ph_lowest'], fail = 1 } }", 'quality.neighbour.points[1] = "tank.ph_lowest"  there is no point tank.ph_lowest; did you mean tank.ph?'),
        ("{ neighbour = { points = ['sump.level'], fail = 1 } }", 'quality.neighbour.points = ["sump.level"]  sump.level and tank.ph do not measure the same; name other points'),
    ],
)  # fmt: skip
def test_a_mistake_is_told_where_it_stands(quality: str, expected: str) -> None:
    """One problem each, on the line of the key, with what to write instead."""
    assert [problem.show("site.toml") for problem in problems_of(POINT.format(quality))] == [
        f"site.toml:4  point tank.ph  {expected}"
    ]


def test_all_mistakes_are_told_at_once() -> None:
    """Two tests of one point, and a rule beside them."""
    text = POINT.format("{ spike = { suspekt = 9 }, gap = { limit = 1 } }") + '[[rule]]\nid = "a"\nkind = "bnad"\n'
    assert len(problems_of(text)) == 3


def test_the_schema_knows_every_test_and_its_keys() -> None:
    """An editor completes them."""
    schema = site_schema()
    table = schema["$defs"]["QualityTable"]
    assert set(table["properties"]) == set(TESTS)
    assert set(schema["$defs"]["FlatLineSettings"]["properties"]) == {"suspect_time", "fail_time", "tolerance"}
