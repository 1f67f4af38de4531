"""Problems in the maker's data are records, so that loading goes on and all are shown at once."""

from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "warning", "assumed", "note"]


@dataclass(frozen=True)
class Finding:
    """One clear sentence about one place: what is wrong and how to mend it.

    `where` is 'file.toml: body.length' or a place on the plate; `sentence` ends with the mend.
    """

    level: Level
    key: str  # short stable name, e.g. 'outline-crosses-itself'
    where: str
    sentence: str

    def line(self) -> str:
        """The finding as one line."""
        return f"{self.where}: {self.sentence}" if self.where else self.sentence


class Refused(Exception):
    """Work that cannot be done with this input; carries the findings (a face gives exit code 2)."""

    def __init__(self, findings: tuple[Finding, ...] | list[Finding]) -> None:
        self.findings: tuple[Finding, ...] = tuple(findings)
        super().__init__("; ".join(f.line() for f in self.findings))


def refuse(key: str, where: str, sentence: str) -> Refused:
    """A refusal of one finding, to be raised by the caller."""
    return Refused((Finding("error", key, where, sentence),))
