"""Does a bed with a bell siphon fill, drain and keep its water?"""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from demo_replay import place
from demo_replay.physics.siphon import Bed

MINUTES = 5 / 60


def _run(bed: Bed, inflow: float, minutes: float, *, start: bool = True, stop: bool = True) -> list[float]:
    levels = []
    for _ in range(round(minutes / MINUTES)):
        bed.step(inflow, MINUTES, can_start=start, can_break=stop)
        levels.append(bed.level)
    return levels


def test_fill_and_drain_times_follow_from_the_volume_and_the_flows() -> None:
    """Fill = volume / inflow and drain = volume / (siphon - inflow), as handbooks reckon (formula A d phi / Q)."""
    inflow = 17.2 / 3
    levels = _run(Bed(place.SIPHON_SLOTS * place.BED_AREA), inflow, 60)
    volume = (place.SIPHON_CREST - place.SIPHON_SLOTS) * place.BED_AREA
    fill = next(k for k, level in enumerate(levels) if level >= place.SIPHON_CREST) * MINUTES
    drained = next(k for k, level in enumerate(levels) if k * MINUTES > fill and level <= place.SIPHON_SLOTS) * MINUTES
    # The weep hole takes 0.27 sqrt(h), about 0.9 L/min on the way up; the siphon draws 32 to 44 L/min on the way down.
    assert fill == pytest.approx(volume / (inflow - 0.9), rel=0.05)
    assert volume / (44 - inflow) < drained - fill < volume / (32 - inflow)


@pytest.mark.parametrize(("level", "primed"), [(21.9, False), (22.0, True), (22.1, True)])
def test_a_siphon_starts_at_its_crest_and_not_below(level: float, primed: bool) -> None:
    """Below the crest it stays dry, at and above it runs."""
    bed = Bed(level * place.BED_AREA)
    bed.step(0.0, MINUTES)
    assert bed.primed is primed


@pytest.mark.parametrize(("level", "primed"), [(2.4, False), (2.5, False), (2.6, True)])
def test_a_siphon_breaks_at_its_slots_and_not_above(level: float, primed: bool) -> None:
    """A running siphon gulps air at its slots."""
    bed = Bed(level * place.BED_AREA, primed=True)
    bed.step(0.0, MINUTES)
    assert bed.primed is primed


def test_a_siphon_that_does_not_start_leaves_the_bed_flat_at_its_crest() -> None:
    """The outflow over the standpipe comes to equal the inflow: a flat line near the top."""
    levels = _run(Bed(100.0), 5.7, 120, start=False)
    assert max(levels[-400:]) - min(levels[-400:]) < 0.01
    assert place.SIPHON_CREST < levels[-1] < place.SIPHON_CREST + 1.0


def test_a_siphon_that_does_not_break_leaves_the_bed_flat_at_its_slots() -> None:
    """The siphon passes on what comes in: a flat line near the bottom with a steady outflow."""
    bed = Bed(100.0, primed=True)
    levels = _run(bed, 5.7, 120, stop=False)
    assert max(levels[-400:]) - min(levels[-400:]) < 0.6
    assert levels[-1] == pytest.approx(place.SIPHON_SLOTS, abs=0.6)


@given(volume=st.floats(0, 200), inflow=st.floats(0, 40), primed=st.booleans(), start=st.booleans(), stop=st.booleans())
@example(volume=1e-6, inflow=0.0, primed=False, start=True, stop=True)  # the weep hole could take more than there is
def test_a_bed_neither_makes_nor_loses_water(
    volume: float, inflow: float, primed: bool, start: bool, stop: bool
) -> None:
    """What a step takes in less what it gives out is what the bed gained, and the bed never holds less than nothing."""
    bed = Bed(volume, primed=primed)
    out = bed.step(inflow, MINUTES, can_start=start, can_break=stop)
    assert bed.volume >= 0.0
    assert out >= 0.0
    assert bed.volume - volume == pytest.approx((inflow - out) * MINUTES, abs=1e-12)
