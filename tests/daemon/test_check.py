"""Does `tidebed check` say what is wrong, or else what is watched?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from daemon.coarse import KEY, Coarse
from daemon.main import main
from daemon.site.load import load_site
from daemon.store import Store
from tests.site_files import SITE, changed

Captured = pytest.CaptureFixture[str]


def write(folder: Path, text: str) -> str:
    file = folder / "site.toml"
    file.write_text(text, encoding="utf-8")
    return str(file)


def test_a_right_file_ends_in_0_and_a_calm_summary(tmp_path: Path, capsys: Captured) -> None:
    """Points, rules by priority, who is told, and what nobody watches."""
    text = SITE + '\n[[point]]\nid = "bed1.level"\nquantity = "level"\n'
    assert main(["check", write(tmp_path, text)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "site.toml is right: Alder Lane" in out
    assert "5: tank.temperature, return.flow, pump.current, house.air, bed1.level" in out
    assert "critical 1: loop.stopped" in out
    assert "anna: critical, high, medium, by anna_phone" in out
    assert "No rule looks at bed1.level." in out
    assert "No rule says when these fall silent: tank.temperature, house.air." in out


def test_a_point_that_a_watched_derived_point_rests_on_is_watched(tmp_path: Path, capsys: Captured) -> None:
    """Not so one that feeds a derived point at which nobody looks."""
    point = '\n[[point]]\nid = "{0}"\nquantity = "ph"\n'
    derived = '\n[[derived]]\nid = "{0}.lowest"\nkind = "over_window"\npoint = "{0}"\ntake = "min"\n'
    rule = '\n[[rule]]\nid = "a.low"\nkind = "band"\npoint = "a.lowest"\nlow = 6\n'
    text = SITE + "".join(table.format(name) for name in ("a", "b") for table in (point, derived)) + rule
    assert main(["check", write(tmp_path, text), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["derived"], told["not_watched"]) == (2, ["b", "b.lowest"])


def test_a_wrong_file_ends_in_1_with_every_problem(tmp_path: Path, capsys: Captured) -> None:
    """One line each, and how many."""
    text = changed("high = 26.0", "hihg = 26.0", changed('unit = "A"', 'unit = "Amp"'))
    assert main(["check", write(tmp_path, text)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert "rule tank.warm  hihg = 26.0  unknown key; did you mean high?" in lines[1]
    assert lines[-1] == "2 problems; nothing of this file is used until mended"


def test_a_step_that_loses_digits_of_what_came_is_remarked_on(tmp_path: Path, capsys: Captured) -> None:
    """As the daemon noted it, until the site file has another step."""
    file = write(tmp_path, SITE)
    site = load_site(file)
    points = {point.id: point for point in site.plan.points}
    with Store(site.store_path, site.plan.points) as store:
        store.commit(meta={KEY: Coarse(None).note(["tank.temperature"], points) or ""})
    assert main(["check", file]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "point tank.temperature resolution = 0.001 degC is coarser than what came" in out
    assert main(["check", file, "--json"]) == 0
    (remark,) = json.loads(capsys.readouterr().out)["remarks"]
    assert (remark["where"], remark["key"], remark["mend"]) == (
        "point tank.temperature",
        "resolution",
        "write a finer one",
    )
    write(tmp_path, changed("resolution = 0.001", "resolution = 0.0001"))
    assert main(["check", file, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["remarks"] == []


def test_a_missing_file_ends_in_2(tmp_path: Path, capsys: Captured) -> None:
    """It could not be checked at all."""
    assert main(["check", str(tmp_path / "nowhere.toml")]) == 2
    assert "nowhere.toml cannot be read" in capsys.readouterr().err


def test_json_gives_a_line_a_problem(tmp_path: Path, capsys: Captured) -> None:
    """With line, key, value, what and mend."""
    file = write(tmp_path, changed("high = 26.0", "hihg = 26.0"))
    assert main(["check", file, "--json"]) == 1
    (problem,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert problem == {
        "file": file,
        "line": SITE[: SITE.index("high = 26.0")].count("\n") + 1,
        "where": "rule tank.warm",
        "key": "hihg",
        "value": "26.0",
        "what": "unknown key",
        "mend": "did you mean high?",
    }


def test_json_of_a_right_file_is_one_line(tmp_path: Path, capsys: Captured) -> None:
    """With counts and the fingerprint."""
    assert main(["check", write(tmp_path, SITE), "--json"]) == 0
    (line,) = capsys.readouterr().out.splitlines()
    told = json.loads(line)
    assert (told["problems"], told["points"], told["rules"]) == (0, 4, {"high": 1, "critical": 1, "medium": 1})
    assert told["not_watched"] == []


def test_the_site_file_is_found_in_the_environment_and_then_here(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    """$TIDEBED_SITE first, else ./site.toml."""
    file = write(tmp_path, SITE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TIDEBED_SITE", raising=False)
    assert main(["check"]) == 0
    monkeypatch.chdir("/")
    monkeypatch.setenv("TIDEBED_SITE", file)
    assert main(["check"]) == 0
    monkeypatch.setenv("TIDEBED_SITE", str(tmp_path / "other.toml"))
    assert main(["check"]) == 2
    assert "other.toml" in capsys.readouterr().err


def test_each_way_of_a_person_is_told_with_what_goes_by_it(tmp_path: Path, capsys: Captured) -> None:
    """A loud one for critical alarms too, so that nobody has to trust that it is used."""
    person = 'id = "zoe"\nways = ["mail"]\nways_for = { critical = ["mail", "siren"] }\n'
    assert main(["check", write(tmp_path, SITE + f"[[person]]\n{person}")]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "zoe: critical, high, medium, by mail; critical by mail, siren" in told


def test_the_schema_is_printed_as_json(capsys: Captured) -> None:
    """For editors; no site file is needed."""
    assert main(["check", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Tidebed site file"


def test_ways_that_stand_in_for_each_other_are_told_in_their_turn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """So that nobody takes the second for one that is always used."""
    turns = 'ways = ["anna_phone", "mail"]\nnext_way_after = "5 min"\nways_for = { high = ["mail", "siren"] }'
    file = tmp_path / "site.toml"
    file.write_text(changed('ways = ["anna_phone"]', turns), encoding="utf-8")
    assert main(["check", str(file)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "by anna_phone, after 5 min by mail; high by mail, after 5 min by siren" in out
