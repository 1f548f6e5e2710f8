"""What does a payload decoder give back? Readings and refusals; every record ends up as one or the other."""

from __future__ import annotations

from dataclasses import dataclass, field

from adapters.intake import Arrived, Refusal

LARGEST_PAYLOAD = 65_536
"""Payloads of more bytes than this are refused unless the settings allow more."""
LONGEST_DETAIL = 160
"""Characters of a sender's text that a refusal quotes, so that no sender can fill the log."""


def quote(text: object) -> str:
    """`text` as a short, printable quotation: control characters and lone surrogates escaped, long text cut."""
    shown = repr(text[:LONGEST_DETAIL] if isinstance(text, str | bytes) else text)
    return shown if len(shown) <= LONGEST_DETAIL else shown[: LONGEST_DETAIL - 1] + "…"


@dataclass(slots=True)
class Decoded:
    """What one payload yielded.

    rounded: how many readings lost a remainder to their point's resolution; coarse: the points of those that came in
    the point's own unit, so that a finer resolution would keep what was sent.
    """

    readings: list[Arrived] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    rounded: int = 0
    coarse: list[str] = field(default_factory=list)

    def refuse(self, cause: str, detail: str) -> None:
        """Note one refused record or payload."""
        self.refusals.append(Refusal(cause, detail))


def refused(cause: str, detail: str) -> Decoded:
    """A payload that yielded nothing but one refusal."""
    return Decoded(refusals=[Refusal(cause, detail)])
