"""Where do lines begin and end in the bytes of a serial port? Pure; finds its way again after noise."""

from __future__ import annotations

from adapters.intake import Refusal
from adapters.payloads.decoded import quote

_ENDS = b"\r\n"


class Cutter:
    """Bytes in, whole lines out.

    The first line after opening may be the tail of one that had begun earlier: `23.5` would be heard as `3.5`. It is
    refused, unless the port was quiet before it. A line that breaks off in its middle takes its rest with it.
    """

    def __init__(self, longest: int) -> None:
        """longest: bytes of a line, its end not counted; longer ones are refused, and no more than that is kept."""
        self._longest = longest
        self._held = bytearray()
        self._sound = False
        """Whether what is held began at the beginning of a line."""
        self._broken = False
        self._told = False
        """Whether the line that is thrown away has been counted."""

    def feed(self, data: bytes) -> tuple[list[bytes], list[Refusal]]:
        """The lines that `data` completes, without their ends and without empty ones, and what was thrown away."""
        lines: list[bytes] = []
        refused: list[Refusal] = []
        for piece in data.splitlines(keepends=True):
            ended = piece[-1] in _ENDS
            self._held += piece.rstrip(_ENDS)
            if len(self._held) > self._longest:
                self._throw("line too long", refused)
            if ended:
                if self._sound and self._held:
                    lines.append(bytes(self._held))
                elif not self._sound and self._held:
                    self._throw("cut line", refused)
                self._begin()
        return lines, refused

    def quiet(self) -> list[Refusal]:
        """Nothing has come for a while: what comes next begins a line, and what is held will not be completed."""
        refused: list[Refusal] = []
        if self._held:
            self._throw("line broke off", refused)
            self._broken, self._told = True, False  # what may still come of it is told apart
        elif not self._told and not self._broken:
            self._sound = True
        return refused

    def _begin(self) -> None:
        self._held.clear()
        self._sound, self._told, self._broken = True, False, False

    def _throw(self, cause: str, refused: list[Refusal]) -> None:
        """Away with what is held, and with all up to the end of its line."""
        if not self._told:
            refused.append(Refusal(cause, quote(bytes(self._held[:64]))))
        self._held.clear()
        self._sound, self._told = False, True
