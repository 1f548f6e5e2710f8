"""Does `replay store: --as-of` judge by the calibrations that were known then?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from daemon.main import main
from daemon.site.load import Site
from daemon.store import Store
from rules.acts import Act, ActKind
from rules.block import block
from rules.engine import Engine
from tests.daemon.once_run import site_once_run

T0 = 1_780_000_000_000
SITE = """\
[[point]]
id = "tank.temperature"
quantity = "water_temperature"
resolution = 0.1
expect_every = "60 s"
quality = "none"

[[rule]]
id = "tank.warm"
kind = "band"
point = "tank.temperature"
high = 26
"""


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Its probe showed 27; two minutes later it was found to have shown 3 too much all the while."""
    made = site_once_run(tmp_path, SITE)
    data = {"point": "tank.temperature", "coefficients": "-3 1", "raw_unit": "degC", "unit": "degC"}
    act = Act(T0 + 120_000, ActKind.CALIBRATE, "Anna", data={**data, "effective": str(T0)})
    engine = Engine(made.plan, T0)
    engine.step([], [], T0 + 180_000)
    with Store(made.store_path, made.plan.points) as store:
        store.commit([block("tank.temperature", [T0 + 60_000], [270])], acts=[act], checkpoint=engine.state())
    return made


def alarms(site: Site, capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    assert main(["replay", str(site.path), "store:", "--json", *words]) == 0
    lines = map(json.loads, capsys.readouterr().out.splitlines())
    return [line["rule"] for line in lines if line["type"] == "alarm"]


def test_the_replay_says_what_was_known_then(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """By all that is known the water was never warm; by what was known before, it was."""
    assert alarms(site, capsys) == []
    assert alarms(site, capsys, "--as-of", str(T0 / 1000 + 119)) == ["tank.warm"]
    assert alarms(site, capsys, "--as-of", str(T0 / 1000 + 120)) == []


def test_files_carry_no_calibrations(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """With a recording it is refused."""
    night = site.path.with_name("night.csv")
    night.write_text("time,point,value\n2026-05-28T20:00:00Z,tank.temperature,20\n")
    assert main(["replay", str(site.path), str(night), "--as-of", "2026-05-28"]) == 2
    assert "leave it out" in capsys.readouterr().err
