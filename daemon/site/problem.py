"""What is wrong in a site file, where, and how is it mended?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.errors import TidebedError


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    line: 1-based line in the file, None where it is not known for certain; where: the part, as in `rule tank.warm`;
    key and value: as they are written, empty where there are none; what: what is wrong; mend: how to put it right.
    """

    line: int | None
    where: str
    key: str
    value: str
    what: str
    mend: str

    def show(self, file: str) -> str:
        """`site.toml:41  rule tank.warm  hihg = 26.0  unknown key; did you mean high?`"""
        place = f"{file}:{self.line}" if self.line else file
        setting = f"{self.key} = {self.value}" if self.key and self.value else self.key or self.value
        told = f"{self.what}; {self.mend}" if self.mend else self.what
        return "  ".join(part for part in (place, self.where, setting, told) if part)

    def record(self) -> dict[str, str | int | None]:
        """The problem as a JSON object."""
        return {
            "line": self.line,
            "where": self.where,
            "key": self.key,
            "value": self.value,
            "what": self.what,
            "mend": self.mend,
        }


class SiteFileError(TidebedError, ValueError):
    """A site file cannot be used; `problems` says everything that is wrong in it, in the order of the file."""

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        self.file = file
        self.problems = tuple(problems)
        super().__init__("\n".join(problem.show(file) for problem in self.problems))
