"""Probes on an SDI-12 bus as the standard's text describes them (version 1.4, section 4.4); nothing here is of ours.

Each answers only commands to its own address (or `?` where it is alone): a measurement with time and number, then aD0!
and so on with at most 35 characters of values after M (75 after C). After aM! it asks for service when it is ready.
"""

from __future__ import annotations

from dataclasses import dataclass, field


def crc_characters(text: str) -> str:
    """Section 4.4.12.1, step by step: for each character exclusive-or, then eight shifts to the right."""
    crc = 0
    for character in text:
        crc ^= ord(character)
        for _ in range(8):
            if crc & 1:
                crc = (crc >> 1) ^ 0xA001
            else:
                crc >>= 1
    return chr(0x40 | (crc >> 12)) + chr(0x40 | ((crc >> 6) & 0x3F)) + chr(0x40 | (crc & 0x3F))


@dataclass
class Probe:
    """One probe. values: as it writes them, each with its sign."""

    address: str
    values: list[str]
    identity: str = "14TIDEFARMSOIL-2100S/N 0042"
    seconds: int = 1
    service: bool = True
    silent: bool = False
    spoil: int = 0
    """Every so many-th reply with a CRC has a wrong character in it; 0: none."""
    meanings: list[tuple[str, str]] = field(default_factory=list)
    """(short name, unit) of each value, as aIM_001! and so on tell them (form from memory)."""
    with_crc: bool = False
    page_length: int = 35
    asked: list[str] = field(default_factory=list)
    replies: int = 0

    def answer(self, command: str) -> str:
        """What goes over the wire after `command`, without its `!`."""
        if self.silent or not command or command[0] not in (self.address, "?"):
            return ""
        self.asked.append(command)
        rest = command[1:]
        if rest == "":
            return f"{self.address}\r\n"
        if rest == "I":
            return f"{self.address}{self.identity}\r\n"
        if rest.startswith("IM_"):
            at = int(rest[3:])
            if at > len(self.meanings):
                return ""
            return f"{self.address},{','.join(self.meanings[at - 1])};\r\n"
        if rest[0] in "MC":
            self.with_crc = rest[1:2] == "C"
            self.page_length = 35 if rest[0] == "M" else 75
            digits = 1 if rest[0] == "M" else 2
            begun = f"{self.address}{self.seconds:03d}{len(self.values):0{digits}d}\r\n"
            ready = rest[0] == "M" and self.seconds > 0 and self.service
            return begun + (f"{self.address}\r\n" if ready else "")
        if rest[0] == "D":
            pages = self._pages()
            page = int(rest[1:])
            return self._sealed(pages[page] if page < len(pages) else "", self.with_crc)
        if rest[0] == "R":
            self.page_length = 75
            return self._sealed("".join(self.values), rest[1:2] == "C")
        return ""

    def _pages(self) -> list[str]:
        pages = [""]
        for value in self.values:
            if len(pages[-1]) + len(value) > self.page_length:
                pages.append("")
            pages[-1] += value
        return pages

    def _sealed(self, values: str, crc: bool) -> str:
        text = self.address + values
        self.replies += 1
        sealed = text + crc_characters(text) if crc else text
        if self.spoil and self.replies % self.spoil == 0:
            sealed = sealed[:1] + ("-" if sealed[1:2] == "+" else "+") + sealed[2:]
        return sealed + "\r\n"


class ProbeBus:
    """All probes of one bus: `answer` is for `Answering`. echo: the adaptor hears what it sends."""

    def __init__(self, *probes: Probe, echo: bool = False) -> None:
        self.probes = list(probes)
        self.echo = echo

    def answer(self, held: bytes) -> tuple[bytes, bytes] | None:
        """The replies to the first whole command in `held`, and the rest of it."""
        if b"!" not in held:
            return None
        command, _, rest = held.partition(b"!")
        text = command.decode("latin-1").lstrip("\0")
        said = "".join(probe.answer(text) for probe in self.probes)
        return ((text + "!" if self.echo else "") + said).encode("latin-1"), rest
