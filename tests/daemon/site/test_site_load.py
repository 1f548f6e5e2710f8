"""Does a right site file become the plan that its keeper meant?"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from daemon.site.load import Site, load_site
from daemon.site.problem import SiteFileError
from daemon.site.schema import site_schema
from rules.conditions import KINDS
from rules.conditions.band import BandSettings
from rules.errors import SettingError
from tests.site_files import SITE, changed


def loaded(folder: Path, text: str = SITE) -> Site:
    file = folder / "site.toml"
    file.write_text(text, encoding="utf-8")
    return load_site(file)


def test_points_carry_units_resolutions_and_times(tmp_path: Path) -> None:
    """What is written is kept; what is left out is the quantity's own, and stale after three times expect_every."""
    plan = loaded(tmp_path).plan
    tank, flow, air = plan.point("tank.temperature"), plan.point("return.flow"), plan.point("house.air")
    assert (tank.unit, tank.resolution, tank.expect_every, tank.stale_after) == (
        "degC",
        Fraction(1, 1000),
        60_000,
        300_000,
    )
    assert (flow.unit, flow.resolution, flow.expect_every, flow.stale_after) == (
        "L/min",
        Fraction(1, 100),
        10_000,
        30_000,
    )
    assert (air.unit, air.resolution) == ("degF", Fraction(1, 100))
    assert tank.name == "Water in the tank"


def test_a_spelling_of_a_unit_becomes_its_symbol(tmp_path: Path) -> None:
    """`°C` is `degC` from here on."""
    assert loaded(tmp_path, changed('unit = "degC"', 'unit = "°C"')).plan.point("tank.temperature").unit == "degC"


def test_decimals_are_kept_as_written(tmp_path: Path) -> None:
    """26.1 is 261/10, not the nearest binary fraction."""
    rule = loaded(tmp_path, changed("high = 26.0", "high = 26.1")).plan.rules[0]
    assert isinstance(rule, BandSettings)
    assert str(rule.high) == "26.1"


def test_rules_stages_and_persons_keep_the_order_of_the_file(tmp_path: Path) -> None:
    """Ties among rules are broken by it."""
    plan = loaded(tmp_path).plan
    assert [rule.id for rule in plan.rules] == ["tank.warm", "loop.stopped", "air.falls"]
    assert [stage.id for stage in plan.stages] == ["vents"]
    assert plan.persons[0].ways == ("anna_phone",)


def test_a_site_without_a_name_is_called_after_its_file(tmp_path: Path) -> None:
    """Points and rules alone are a site."""
    plan = loaded(tmp_path, '[[point]]\nid = "a"\nquantity = "ph"').plan
    assert (plan.name, plan.timezone) == ("site", "UTC")


def test_display_units_reach_the_plan(tmp_path: Path) -> None:
    """They are the keeper's choice."""
    text = changed("altitude = 40", 'altitude = 40\ndisplay = { temperature = "degF", volume = "gal" }')
    plan = loaded(tmp_path, text).plan
    assert (plan.temperature_unit, plan.volume_unit) == ("degF", "gal")


def test_the_fingerprint_changes_with_any_change_of_the_text(tmp_path: Path) -> None:
    """Even a comment's."""
    first = loaded(tmp_path).fingerprint
    assert first == loaded(tmp_path).fingerprint
    assert first != loaded(tmp_path, SITE + "# looked at in spring\n").fingerprint


def test_a_store_path_starts_at_the_site_file(tmp_path: Path) -> None:
    """Wherever the command is called from; an absolute one stays."""
    assert loaded(tmp_path).store_path == tmp_path / "tidebed.sqlite"
    absolute = changed("[[stage]]", '[store]\npath = "/var/lib/tidebed/kept.sqlite"\n\n[[stage]]')
    assert loaded(tmp_path, absolute).store_path == Path("/var/lib/tidebed/kept.sqlite")


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    """Some editors put one at the start of every file."""
    assert loaded(tmp_path, "\ufeff" + SITE).plan.name == "Alder Lane"


def test_a_file_that_is_not_there_is_told_by_name(tmp_path: Path) -> None:
    """With where else it could be named."""
    with pytest.raises(SettingError, match=r"nowhere\.toml cannot be read .*TIDEBED_SITE"):
        load_site(tmp_path / "nowhere.toml")


def test_a_character_that_is_not_utf8_is_told_with_its_line(tmp_path: Path) -> None:
    """Such as a degree sign of an old editor."""
    file = tmp_path / "site.toml"
    file.write_bytes(b'[site]\nname = "\xb0"\n')
    with pytest.raises(
        SiteFileError, match=r"^site\.toml:2  holds a character that is not UTF-8; save the file as UTF-8$"
    ):
        load_site(file)


def test_the_error_of_a_wrong_file_holds_every_problem(tmp_path: Path) -> None:
    """As objects for programs and as lines for people."""
    with pytest.raises(SiteFileError) as caught:
        loaded(tmp_path, changed("high = 26.0", "hihg = 26.0"))
    assert [problem.key for problem in caught.value.problems] == ["hihg"]
    assert "did you mean high?" in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("high = 26.0", "high = 90", "lies outside what water_temperature can show (-5 to 60 degC)"),
        ("on = 80", "on = 8000", "lies outside what air_temperature can show (-58 to 158 degF)"),
        ("under = 0.1", "under = 101", "lies outside what current can show (-100 to 100 A)"),
        ('timezone = "Europe/Dublin"\n', "", ""),
        (
            'ways = ["anna_phone"]',
            'ways = ["a", "b"]\nnext_way_after = "5 min"\nways_for = { critical = ["anna_phone"] }',
            "",
        ),
        ('ways = ["anna_phone"]', "", "has no way to be told"),
        ('ways = ["anna_phone"]', 'ways = ["x"]\npriorities = ["high"]', "nobody is told of loop.stopped (critical)"),
        (
            'ways = ["anna_phone"]',
            'ways = ["anna_phone"]\nnext_way_after = "5 min"\nways_for = { critical = ["anna_phone", "siren"] }',
            "for one that is always used, as a siren, write a [[person]] of its own, with that way alone",
        ),
        (
            'ways = ["anna_phone"]',
            'ways = ["anna_phone"]\nways_for = { critical = ["anna_phone", "siren"] }',
            "",
        ),
        ("Tank at {value}", "Tank at {value}, which is far too warm for the fish that live in it", "longer than 60"),
    ],
)
def test_what_is_right_but_odd_is_remarked(tmp_path: Path, old: str, new: str, expected: str) -> None:
    """Such a file is used all the same."""
    remarks = [remark.show("site.toml") for remark in loaded(tmp_path, changed(old, new)).remarks]
    assert any(expected in remark for remark in remarks) if expected else not remarks


def test_hours_without_a_time_zone_are_remarked(tmp_path: Path) -> None:
    """They would be judged in UTC, which is hardly meant."""
    text = changed("deadband = 0.5", 'deadband = 0.5\nduring = { hours = "20:00-07:00" }')
    assert loaded(tmp_path, text).remarks == ()
    without = loaded(tmp_path, changed('timezone = "Europe/Dublin"\n', "", text))
    assert "is judged in UTC" in without.remarks[0].what


def test_the_schema_knows_every_kind_and_writes_durations_as_text() -> None:
    """An editor that follows it accepts what the loader accepts."""
    schema = site_schema()
    kinds = schema["properties"]["rule"]["items"]["discriminator"]["mapping"]
    assert set(kinds) == set(KINDS)
    band = schema["$defs"]["BandSettings"]
    assert band["additionalProperties"] is False
    assert (band["properties"]["on_delay"]["type"], band["properties"]["on_delay"]["default"]) == ("string", "0 s")
    assert band["properties"]["high"]["anyOf"][0] == {"type": ["number", "string"]}
    assert "while" in band["properties"]
    assert schema["required"] == ["point"]
