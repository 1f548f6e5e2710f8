"""Is it noted once, for each step of a point, that it loses digits?"""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction

from daemon.coarse import Coarse
from rules.plan import PointPlan

FLOW = PointPlan("return.flow", "flow", "L/min", Fraction(1, 10), 10_000, 30_000)


def test_what_is_known_is_not_kept_again() -> None:
    """Nor by the daemon after this one; a finer step that is still too coarse is new; a point that is gone is left."""
    coarse = Coarse(None)
    kept = coarse.note(["return.flow", "gone"], {FLOW.id: FLOW})
    assert json.loads(kept or "") == {"return.flow": "0.1 L/min"}
    assert coarse.note(["return.flow"], {FLOW.id: FLOW}) is None
    assert Coarse(kept).note(["return.flow"], {FLOW.id: FLOW}) is None
    finer = dataclasses.replace(FLOW, resolution=Fraction(1, 100))
    assert json.loads(Coarse(kept).note(["return.flow"], {FLOW.id: finer}) or "") == {"return.flow": "0.01 L/min"}
