"""What does the evidence of stopped water weigh as of now?"""

from __future__ import annotations

from collections.abc import Mapping

from rules.conditions.stopped import Evidence, StoppedSettings
from rules.plan import Plan
from rules.settings import Amount
from rules.units import parse_amount, parse_rate
from tests.twin.history import History
from tests.twin.running_time import RunningTime
from tests.twin.truth import UNKNOWN, Look, Truth
from tests.twin.windows import slope, spread


class Piece:
    """One piece of evidence, with its own delay `lasting`."""

    def __init__(self, evidence: Evidence, history: History, running: RunningTime) -> None:
        self.evidence = evidence
        self.history = history
        self._running = running
        self._true_since: int | None = None

    def look(self, t: int) -> Truth:
        """True once its statement has been true for `lasting`; known but not true until then."""
        said = self._said()
        if said is not True:
            self._true_since = None
            return said
        if self._true_since is None:
            self._true_since = t
        return self._running.due(self._true_since, self.evidence.lasting) <= t

    def due(self) -> list[int]:
        """When `lasting` will have passed."""
        if self._true_since is None:
            return []
        return [self._running.due(self._true_since, self.evidence.lasting)]

    def _said(self) -> Truth:
        """What it says at the point's last reading, `lasting` aside."""
        evidence, history = self.evidence, self.history
        if not history.known:
            return None
        unit = history.plan.units
        window = 0 if evidence.window is None else evidence.window
        if evidence.under is not None:
            return history.now() < parse_amount(evidence.under, unit)
        if evidence.over is not None:
            return history.now() > parse_amount(evidence.over, unit)
        if evidence.still is not None:
            return self._still(evidence.still, window)
        if evidence.moved is not None:
            return self._moved(evidence.moved, window)
        change = slope(history, window, evidence.min_readings, window // 2)
        if change is None:
            return None
        if evidence.falling is not None:
            return change < -parse_rate(evidence.falling, unit)
        assert evidence.rising is not None, "a piece of evidence says exactly one thing"
        return change > parse_rate(evidence.rising, unit)

    def _still(self, span: Amount, window: int) -> Truth:
        if not self.history.covered(window):
            return None
        return spread(self.history, window) <= parse_amount(span, self.history.plan.units, difference=True)

    def _moved(self, span: Amount, window: int) -> Truth:
        if spread(self.history, window) >= parse_amount(span, self.history.plan.units, difference=True):
            return True
        return False if self.history.covered(window) else None


class Stopped:
    """True where the weight of true evidence reaches `needed`, or all that is known where less is known."""

    def __init__(
        self, rule: StoppedSettings, plan: Plan, histories: Mapping[str, History], running: RunningTime
    ) -> None:
        self.rule = rule
        self.pieces = [Piece(evidence, histories[evidence.point], running) for evidence in rule.evidence]
        self.sides: tuple[str, ...] = ("stopped", "blind")
        self.needs: tuple[str, ...] = ()
        self.shown_point: str | None = rule.evidence[0].point

    def look(self, t: int) -> dict[str, Look]:
        """Both sides at instant t."""
        blind = all(piece.history.silent for piece in self.pieces if piece.evidence.weight > 0)
        return {"stopped": self._stopped(t), "blind": Look(condition=blind, back=not blind)}

    def due(self) -> list[int]:
        """When evidence will have lasted."""
        return [instant for piece in self.pieces for instant in piece.due()]

    def _stopped(self, t: int) -> Look:
        truths = [(piece.evidence.weight, piece.look(t)) for piece in self.pieces]
        known = sum(weight for weight, truth in truths if weight > 0 and truth is not None)
        weight_true = sum(weight for weight, truth in truths if truth is True)
        if known == 0:
            return UNKNOWN
        stopped = weight_true >= min(self.rule.needed, known)
        return Look(condition=stopped, back=not stopped)
