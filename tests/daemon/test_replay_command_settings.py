"""Can other settings be tried on a recording, compared with today's, without touching the site file?"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest

from daemon.bench.what_if import parse_change, with_changes
from daemon.main import main
from daemon.site.load import load_site
from rules.conditions.band import BandSettings
from rules.conditions.stopped import StoppedSettings
from rules.errors import SettingError
from tests.replays import START
from tests.site_files import SITE, changed


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The usual site file, and two hours in which the tank is warm twice: 27.0 for 30 min, 26.4 for 15."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    values = ["25"] * 10 + ["27"] * 30 + ["25"] * 30 + ["26.4"] * 15 + ["25"] * 35
    lines = [f"{START // 1000 + 60 * index},tank.temperature,{value}" for index, value in enumerate(values)]
    (tmp_path / "noon.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    return tmp_path


def compared(capsys: pytest.CaptureFixture[str], *changes: str) -> str:
    """What is printed under the comparison, with single blanks."""
    words = [word for change in changes for word in ("--set", change)]
    assert main(["replay", "site.toml", "noon.csv", *words]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 80
    head, _, tail = text.partition("What the change does")
    assert all(f"With {change}" in head for change in changes)
    return " ".join(tail.split())


def test_a_longer_delay_raises_an_alarm_later_and_spares_another(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """20 min instead of 10: the first comes 10 min later, the second not at all."""
    text = compared(capsys, "tank.warm.on_delay=20 min")
    assert "▲ high 2 Apr 10:20 2 Apr 10:30 10 min tank.warm high for 20 min for 10 min later" in text
    assert "▲ high 2 Apr 11:20 none gone tank.warm high for 5 min" in text
    assert "Alarms: 1 later, 1 gone." in text


def test_two_changes_act_together(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A higher limit spares the second alarm, a shorter delay brings the first one forward."""
    text = compared(capsys, "tank.warm.high=26.5", "tank.warm.on_delay=5 min")
    assert "5 min tank.warm high for 20 min for 25 min earlier" in text
    assert "Alarms: 1 earlier, 1 gone." in text
    assert "Messages: 4 today, 2 with the change." in text


def test_a_lower_limit_raises_new_alarms(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where today's limit raises none, each is new; where neither raises one, that is said."""
    (folder / "site.toml").write_text(changed("high = 26.0", "high = 30.0"), encoding="utf-8")
    assert "▲ high none 2 Apr 10:20 new tank.warm high for 20 min" in compared(capsys, "tank.warm.high=26")
    assert compared(capsys, "tank.warm.high=29").startswith("Alarms: no alarm either way.")


def test_nothing_changed_is_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Today's own value: the alarms are only counted."""
    assert compared(capsys, "tank.warm.on_delay=10 min").startswith("Alarms: 2 same.")


def test_another_end_is_told_though_the_onset_is_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A deadband of 2 °C: the first alarm goes on into the second."""
    text = compared(capsys, "tank.warm.deadband=2")
    assert "2 Apr 10:20 2 Apr 10:20 other end tank.warm high for 20 min still on" in text


def test_json_with_a_change_prints_the_changed_events(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And no comparison."""
    assert main(["replay", "site.toml", "noon.csv", "--json", "--set", "tank.warm.on_delay=20 min"]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    raised = [line["t"] for line in lines if line["type"] == "alarm" and line["state"] == "unacknowledged"]
    assert raised == ["2026-04-02T09:30:00.000Z"]


def test_the_site_file_stays_as_it_is(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Trying a setting writes nothing."""
    compared(capsys, "tank.warm.high=20")
    assert (folder / "site.toml").read_text(encoding="utf-8") == SITE
    assert {path.name for path in folder.iterdir()} == {"site.toml", "noon.csv"}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("tank.worm.high=27", "--set tank.worm.high=27: there is no rule tank.worm; did you mean tank.warm?"),
        ("pond.high=27", "there is no rule pond; known rules: tank.warm, loop.stopped, air.falls, vents"),
        ("tank.warm.hihg=27", "--set tank.warm.hihg=27: unknown key; did you mean high?"),
        ("tank.warm.on_delay=20", '--set tank.warm.on_delay=20: 20 has no unit; write "20 s" or "20 min"'),
        ("tank.warm.high=10", "is not above low"),
        ("tank.warm.high=3 mg/L", "mg/L measures concentration, not temperature"),
        ('tank.warm.explains=["tank.cold"]', "there is no rule tank.cold"),
        ("tank.warm.priority=urgent", "tank.warm.priority=urgent: "),
        ("tank.warm", "'tank.warm' is not understood; write RULE.KEY=VALUE, as in tank.warm.on_delay=30 min"),
        ("high=27", "'high=27' is not understood"),
        (".high=27", "'.high=27' is not understood"),
    ],
)
def test_what_the_site_file_would_refuse_is_refused_with_exit_2(
    folder: Path, capsys: pytest.CaptureFixture[str], change: str, message: str
) -> None:
    """With the change as it was written, the nearest name, and how to mend it."""
    assert main(["replay", "site.toml", "noon.csv", "--set", change]) == 2
    found = capsys.readouterr()
    assert message in found.err
    assert found.out == ""


@pytest.mark.parametrize(
    ("text", "rule", "key", "value"),
    [
        ("tank.warm.high=26.50", "tank.warm", "high", Decimal("26.50")),
        ("tank.warm.high = 90 degF", "tank.warm", "high", "90 degF"),
        ('tank.warm.high="90 degF"', "tank.warm", "high", "90 degF"),
        ("tank.warm.latch=true", "tank.warm", "latch", True),
        ('a.explains=["b.c", "d"]', "a", "explains", ["b.c", "d"]),
        ("a.title=2026-04-02", "a", "title", "2026-04-02"),
        ("a.title=x = 1", "a", "title", "x = 1"),
        ("a.title=", "a", "title", ""),
    ],
)
def test_a_value_is_read_as_in_the_site_file_and_else_as_text(text: str, rule: str, key: str, value: object) -> None:
    """The key is what follows the last dot before the first equals sign."""
    change = parse_change(text)
    assert (change.rule, change.key) == (rule, key)
    assert change.value == (float(value) if isinstance(value, Decimal) else value)
    if isinstance(value, Decimal):
        assert change.value.as_string() == str(value)


def test_several_settings_are_changed_at_once(folder: Path) -> None:
    """Of rules and of stages; the last of two for one key counts."""
    site = load_site("site.toml")
    texts = ["tank.warm.high=27", "tank.warm.high=28.50", "loop.stopped.needed=1", "vents.on=85"]
    plan = with_changes(site, [parse_change(text) for text in texts]).plan
    warm, stopped, _ = plan.rules
    assert isinstance(warm, BandSettings)
    assert isinstance(stopped, StoppedSettings)
    assert (warm.high, warm.on_delay) == (Decimal("28.50"), 600_000)
    assert stopped.needed == 1
    assert plan.stages[0].on == 85


def test_two_wrong_changes_are_both_told(folder: Path) -> None:
    """Everything at once."""
    changes = [parse_change("tank.warm.hihg=1"), parse_change("air.falls.fall=fast")]
    with pytest.raises(SettingError, match=r"(?s)--set tank\.warm\.hihg=1: .*\n--set air\.falls\.fall=fast: "):
        with_changes(load_site("site.toml"), changes)
