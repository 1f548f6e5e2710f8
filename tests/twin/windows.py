"""What do the readings of a window say about change? Span and least-squares slope, term by term."""

from __future__ import annotations

from fractions import Fraction

from tests.twin.history import History


def slope(history: History, window: int, min_readings: int, min_span: int) -> Fraction | None:
    """Least-squares slope in units of the point per ms at its last reading; None while it is not known.

    (n Σtv - Σt Σv) / (n Σt² - (Σt)²) over the usable readings of the unbroken run in [t - window, t].
    """
    readings = history.window(window)
    if len(readings) < min_readings or readings[-1].time - readings[0].time < min_span:
        return None
    n = len(readings)
    times = [reading.time for reading in readings]
    values = [history.value(reading) for reading in readings]
    sum_t = sum(times)
    sum_v = sum(values, Fraction(0))
    sum_tt = sum(t * t for t in times)
    sum_tv = sum((t * v for t, v in zip(times, values, strict=True)), Fraction(0))
    return (n * sum_tv - sum_t * sum_v) / (n * sum_tt - sum_t**2)


def spread(history: History, window: int) -> Fraction:
    """Largest less smallest value among the readings of the unbroken run in [t - window, t]."""
    values = [history.value(reading) for reading in history.window(window)]
    return max(values) - min(values)
