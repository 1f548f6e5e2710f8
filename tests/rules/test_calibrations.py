"""What do raw readings mean at their point, and does an act carry a record whole?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from rules.acts import Act, ActKind
from rules.block import block
from rules.calibration import Record
from rules.calibrations import Calibrations, data_of, record_of
from rules.flags import Flag
from rules.plan import PointPlan

WATER = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10))
WARMER = Record(100, 90, (Fraction(1, 2), Fraction(1)), "degC", "degC", "one-point", "20=20.5", "Anna", "hand meter")


def test_what_is_missing_stays_missing() -> None:
    """An offset makes no value of it; a reading beside it moves by the offset."""
    known = Calibrations([WATER], {WATER.id: [WARMER]})
    found = known.judged(block(WATER.id, [100, 200], [None, 200]))
    assert found.values.tolist() == [0, 205]
    assert found.flags.tolist() == [Flag.MISSING, Flag.NOT_EVALUATED]


def test_without_a_record_readings_are_the_very_same() -> None:
    """No column is copied on the way of every live reading."""
    part = block(WATER.id, [100], [200])
    assert Calibrations([WATER], {}).judged(part) is part


def test_a_probe_of_its_own_resolution_is_converted_once() -> None:
    """Hundredths of a kelvin at a point in tenths of a degree Celsius."""
    fine = PointPlan("t", "water_temperature", "degC", Fraction(1, 10), raw_unit="K", raw_resolution=Fraction(1, 100))
    found = Calibrations([fine], {}).judged(block("t", [1, 2], [29_315, 29_330]))
    assert found.values.tolist() == [200, 202]
    assert np.array_equal(found.flags, [Flag.NOT_EVALUATED, Flag.NOT_EVALUATED])


def test_an_act_carries_a_record_whole() -> None:
    """What was entered is what is read again, the time of entering being that of the act."""
    act = Act(90, ActKind.CALIBRATE, "Anna", text="hand meter", data=data_of(WATER.id, WARMER))
    assert record_of(act) == WARMER
