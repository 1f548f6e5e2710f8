"""Do sweeps with and without an engine agree on every setting, and with `tidebed check` on which there may be?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from daemon.bench.cases import gather
from daemon.bench.trying import Trying
from daemon.site.load import load_site
from demo_replay.tuning import tune as tuning
from tests.daemon.test_tune_command import SITE
from tests.replays import START


@pytest.mark.parametrize(
    "vary",
    [
        ["high=8:30:2", "deadband=0:18:3"],
        ["on_delay=0 min:20 min:5 min", "high=20:28:1", "off_delay=0 min:10 min:5 min"],
        ["low=5:30:5", "on_delay=0 min:10 min:5 min"],
    ],
)
def test_both_ways_give_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, vary: list[str]) -> None:
    """Scores, order of settings, which are possible, and the choice; limits that cross and wide deadbands included."""
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    chance = np.random.default_rng(11)
    values = 22 + 5 * np.sin(np.arange(900) / 60) + chance.normal(0, 0.4, 900)
    lines = [f"{START // 1000 + 60 * minute},tank.temperature,{value:.1f}" for minute, value in enumerate(values)]
    (tmp_path / "noon.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    (tmp_path / "noon.labels.csv").write_text(
        f"start,end,rule,note\n{START // 1000 + 3600},{START // 1000 + 9000},tank.warm,\n", encoding="utf-8"
    )
    site = load_site(tmp_path / "site.toml")
    trying = Trying(site, "tank.warm", vary, None)
    cases = gather(site, trying.trial, [str(tmp_path / "noon.csv")], None).cases
    assert tuning.plain_band(trying.trial, cases) is not None
    fast = tuning.tune(trying.trial, cases, trying.variants, parts=3)
    monkeypatch.setattr(tuning, "plain_band", lambda trial, cases: None)
    slow = tuning.tune(trying.trial, cases, trying.variants, parts=2)
    assert fast.possible.tolist() == slow.possible.tolist()
    for one, other in zip(fast.scores[:-1], slow.scores[:-1], strict=True):
        assert np.array_equal(np.asarray(one)[fast.possible], np.asarray(other)[fast.possible])
    assert fast.choice == slow.choice
