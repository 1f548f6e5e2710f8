"""Does `tidebed calibrate` make of what the keeper found what the books say, and refuse what makes no sense?"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from daemon.main import main
from daemon.site.load import Site
from daemon.store import Store
from rules.acts import Act, ActKind
from tests.daemon.once_run import handed_in, site_once_run

Captured = pytest.CaptureFixture[str]

SITE = """\
[[point]]
id = "tank.ph"
quantity = "ph"
raw_unit = "mV"
raw_resolution = 0.1

[[point]]
id = "tank.oxygen"
quantity = "dissolved_oxygen"

[[point]]
id = "tank.temperature"
quantity = "water_temperature"
unit = "degF"

[[rule]]
id = "ph.due"
kind = "overdue"
note = "calibration tank.ph"
every = "30 d"
"""
DAY = 86_400_000


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """A site whose daemon has run once."""
    return site_once_run(tmp_path, SITE)


def calibrate(site: Site, *words: str) -> int:
    return main(["calibrate", *words, "--site", str(site.path)])


def test_two_buffers_tell_the_slope_and_the_state_of_the_electrode(site: Site, capsys: Captured) -> None:
    """0 mV at pH 7 and 177.48 at pH 4 are all of the Nernst slope at 25 degC (R T ln 10 / F = 59.16 mV)."""
    assert calibrate(site, "tank.ph", "two-point", "0=7", "177.48=4", "temperature=25", "--who", "Anna") == 0
    (act,) = handed_in(site)
    assert (act.kind, act.who, act.data["point"]) == (ActKind.CALIBRATE, "Anna", "tank.ph")
    offset, slope = (Fraction(text) for text in act.data["coefficients"].split())
    assert offset == 7
    assert offset + slope * Fraction("177.48") == 4
    assert "100.0 % of the Nernst slope" in capsys.readouterr().out


def test_a_worn_electrode_is_named(site: Site, capsys: Captured) -> None:
    """150 mV between pH 7 and pH 4 are 84.5 per cent."""
    assert calibrate(site, "tank.ph", "two-point", "0=7", "150=4") == 0
    assert "worn" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("pair", "told"),
    [
        ("88.8=4", ": worn; clean it"),
        ("150.8=4", ": worn; clean it"),
        ("150.9=4", "85.0 % of the Nernst slope at 25 degC\n"),
        ("186.3=4", "105.0 % of the Nernst slope at 25 degC\n"),
        ("186.4=4", ": more than there can be"),
        ("212.9=4", ": more than there can be"),
        ("-177=4", "the buffers were swapped"),
        ("177=10", "the buffers were swapped"),
        ("177=4", "99.7 % of the Nernst slope at 25 degC\n"),
        ("-177=10", "99.7 % of the Nernst slope at 25 degC\n"),
    ],
)
def test_the_state_of_an_electrode_at_its_limits(site: Site, capsys: Captured, pair: str, told: str) -> None:
    """Under 85 % of 59.16 mV it is worn, over 105 % a buffer was mistaken (common practice, no source)."""
    assert calibrate(site, "tank.ph", "two-point", "0=7", pair) == 0
    assert told in capsys.readouterr().out


def test_numbers_may_be_negative(site: Site) -> None:
    """A pH 10 buffer shows some -177 mV, and a polynomial may fall: neither is an option of the command."""
    assert calibrate(site, "tank.ph", "two-point", "-177.48=10", "0=7") == 0
    assert calibrate(site, "tank.ph", "polynomial", "7", "-0.0169", "-1e-9") == 0
    assert calibrate(site, "tank.temperature", "one-point", "-.5=-0.4") == 0
    first, second, third = handed_in(site)
    offset, slope = (Fraction(text) for text in first.data["coefficients"].split())
    assert first.data["pairs"] == "-177.48=10 0=7"
    assert offset - slope * Fraction("177.48") == 10
    assert second.data["coefficients"] == "7 -169/10000 -1/1000000000"
    assert third.data["coefficients"] == "1/10 1"


def test_a_thermometer_may_be_held_into_ice_and_boiling_water(site: Site) -> None:
    """Shown 33 and 211, true 32 and 212 degF: far from what a tank has, and what a keeper has at hand."""
    assert calibrate(site, "tank.temperature", "two-point", "33=32", "211=212") == 0
    (act,) = handed_in(site)
    offset, slope = (Fraction(text) for text in act.data["coefficients"].split())
    assert [offset + 33 * slope, offset + 211 * slope] == [32, 212]


def test_drift_is_told_since_the_one_that_held_then(site: Site, capsys: Captured) -> None:
    """A calibration for an earlier day is compared with the one before that day; the next one is due after the last."""
    with Store(site.store_path, site.plan.points) as store:
        for effective, offset in ((1_780_000_000_000, "0"), (1_780_000_000_000 + 10 * DAY, "3")):
            data = {"point": "tank.temperature", "coefficients": f"{offset} 1", "raw_unit": "degF", "unit": "degF"}
            data |= {"effective": str(effective), "method": "one-point"}
            store.commit(acts=[Act(effective, ActKind.CALIBRATE, "Anna", data=data)])
    at = "2026-06-01T00:00:00Z"
    assert calibrate(site, "tank.temperature", "one-point", "71=70", "--at", at) == 0
    assert "had come to read +1 degF" in capsys.readouterr().out
    assert calibrate(site, "tank.temperature", "one-point", "71=70") == 0
    assert "had come to read +4 degF" in capsys.readouterr().out


def test_oxygen_in_air_is_that_of_the_table(site: Site, capsys: Captured) -> None:
    """9.09 mg/L at 20 degC and 760 mmHg (USGS, Benson and Krause): a probe that shows 8.7 gains 9.09/8.7."""
    assert calibrate(site, "tank.oxygen", "air", "8.7", "temperature=20", "pressure=760mmHg") == 0
    (act,) = handed_in(site)
    _, gain = (Fraction(text) for text in act.data["coefficients"].split())
    assert float(gain) == pytest.approx(9.09 / 8.7, abs=0.001)
    assert "9.09 mg/L" in capsys.readouterr().out


def test_one_point_may_be_told_in_another_unit(site: Site) -> None:
    """Shown 70 degF, true 21.5 degC, which is 70.7 degF: 0.7 is added."""
    assert calibrate(site, "tank.temperature", "one-point", "70=21.5degC") == 0
    (act,) = handed_in(site)
    assert act.data["coefficients"] == "7/10 1"


def test_drift_is_told_against_the_calibration_before(site: Site, capsys: Captured) -> None:
    """A probe that was 0.5 too low then and shows 71 at 70 now had come to read 1.5 too high."""
    effective = str(1_780_000_000_000)
    data = {"point": "tank.temperature", "coefficients": "1/2 1", "raw_unit": "degF", "unit": "degF"}
    act = Act(int(effective), ActKind.CALIBRATE, "Anna", data={**data, "effective": effective, "method": "one-point"})
    with Store(site.store_path, site.plan.points) as store:
        store.commit(acts=[act])
    assert calibrate(site, "tank.temperature", "one-point", "71=70") == 0
    assert "had come to read +1.5 degF" in capsys.readouterr().out


def test_what_is_known_of_a_point_is_listed(site: Site, capsys: Captured) -> None:
    """With when it is due again, by the rule that says so; as JSON for programs."""
    data = {"point": "tank.ph", "coefficients": "7 -1/59", "raw_unit": "mV", "unit": "pH", "method": "two-point"}
    act = Act(1_780_000_000_000, ActKind.CALIBRATE, "Anna", data={**data, "effective": "1780000000000"}, text="buffers")
    before = Act(act.time - DAY, ActKind.CALIBRATE, "Anna", data={**data, "effective": str(act.time - DAY)})
    with Store(site.store_path, site.plan.points) as store:
        store.commit(acts=[before, act])
    assert calibrate(site, "tank.ph") == 0
    shown = capsys.readouterr().out
    assert "two-point" in shown
    assert "by Anna (buffers)" in shown
    assert "due 2026-06-27 (rule ph.due)" in shown
    assert calibrate(site, "--json") == 0
    line = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert (line["point"], line["effective"]) == ("tank.ph", "2026-05-28T20:26:40.000Z")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["tank.hp", "none"], "tank.ph"),
        (["tank.ph", "guess"], "no method"),
        (["tank.ph", "one-point", "0=7"], "use two-point"),
        (["tank.ph", "none"], "means nothing"),
        (["tank.ph", "two-point", "0=7"], "takes two pairs"),
        (["tank.ph", "two-point", "0=7", "0=4"], "same raw reading"),
        (["tank.ph", "two-point", "0:7", "170:4"], "is no pair"),
        (["tank.ph", "two-point", "0=7", "170degC=4"], "measures"),
        (["tank.ph", "polynomial", "7"], "coefficients"),
        (["tank.oxygen", "air", "8.7"], "depends on the day"),
        (["tank.oxygen", "air", "8.7", "temperature=20", "depth=3"], "does not belong"),
        (["tank.oxygen", "air", "0", "temperature=20", "altitude=0"], "no oxygen in air"),
        (["tank.temperature", "air", "8.7", "temperature=20", "altitude=0"], "for oxygen probes"),
        (["tank.oxygen", "one-point", "8=8.2", "--at", "2999-01-01"], "has not come yet"),
        (["tank.temperature", "one-point", "70=700"], "700 degF cannot be true: water_temperature lies between"),
        (["tank.temperature", "one-point", "1e29=70"], "1e+29 degF cannot be shown"),
        (["tank.temperature", "two-point", "32=32", "212=32"], "write each as SHOWN=TRUE"),
        (["tank.temperature", "two-point", "40=90", "90=40"], "write each as SHOWN=TRUE"),
        (["tank.ph", "two-point", "0=7", "177=40"], "40 pH cannot be true"),
        (["tank.ph", "two-point", "0=7", "88.7=4"], "50.0 % of the Nernst slope at 25 degC, which no electrode has"),
        (["tank.ph", "two-point", "0=7", "213=4"], "120.0 % of the Nernst slope"),
        (["tank.ph", "two-point", "0=7", "177=7"], "same pH"),
        (["tank.ph", "two-point", "0=7", "177=4", "temperature=-0.1"], "buffers have 0 to 60 degC"),
        (["tank.ph", "two-point", "0=7", "177=4", "temperature=141 degF"], "buffers have 0 to 60 degC"),
        (["tank.ph", "polynomial", "7", "0", "0"], "the second is its slope"),
        (["tank.oxygen", "air", "4.5", "temperature=20", "altitude=0"], "no drift; check what was typed"),
        (["tank.oxygen", "air", "18.3", "temperature=20", "altitude=0"], "no drift; check what was typed"),
        (["tank.oxygen", "air", "0.1", "temperature=20", "altitude=0"], "no drift; check what was typed"),
    ],
)
def test_what_makes_no_calibration_ends_in_2(site: Site, capsys: Captured, words: list[str], told: str) -> None:
    """Nothing is handed in, and the mend is told."""
    assert calibrate(site, *words) == 2
    assert told in capsys.readouterr().err
    assert handed_in(site) == []
