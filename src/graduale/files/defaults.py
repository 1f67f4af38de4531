"""Values by kind of body for what the file leaves out (`data/kinds.toml`), each with its source."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from graduale.files.quantity import Given
from graduale.records.instrument import How, Provenance


@cache
def kinds_table() -> Mapping[str, Any]:
    """The packaged table, one entry a kind of body."""
    text = resources.files("graduale.files").joinpath("data/kinds.toml").read_text("utf-8")
    return tomllib.loads(text)


def kind_names() -> tuple[str, ...]:
    """The kinds of body that can be written as `kind`."""
    return tuple(kinds_table())


def default_rows(kind: str) -> dict[str, Mapping[str, Any]]:
    """The rows of `kind` by dotted key."""
    return {row["key"]: row for row in kinds_table()[kind]["rows"]}


@dataclass
class Sheet:
    """Values by dotted key while one instrument is filled in: first the maker's, then the rows'.

    `numbers` in the program's own units (mm, degrees, ...). `known` grows beside them.
    """

    kind: str
    numbers: dict[str, float] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    flags: dict[str, bool] = field(default_factory=dict)
    known: dict[str, Provenance] = field(default_factory=dict)
    extra: dict[str, Mapping[str, Any]] = field(
        default_factory=dict
    )  # rows that outrank the kind's
    bound: list[str] = field(default_factory=list)  # keys whose row found no room for its own value

    def take(self, key: str, given: Given, source: str) -> None:
        """A number that the maker wrote in the file named `source`."""
        self.numbers[key] = given.value
        self.known[key] = Provenance(given.how, given.source or source, given.spread)

    def number(self, key: str) -> float:
        """The number at `key`, from its row (to 0.01) when the maker did not write it."""
        if key not in self.numbers:
            row = self._row(key)
            self.numbers[key] = round(self._bounded(key, row), 2)
            self._note(key, row)
        return self.numbers[key]

    def text(self, key: str) -> str:
        """The text at `key`."""
        if key not in self.texts:
            row = self._row(key)
            self.texts[key] = str(row["text"])
            self._note(key, row)
        return self.texts[key]

    def flag(self, key: str) -> bool:
        """The yes or no at `key`."""
        if key not in self.flags:
            row = self._row(key)
            self.flags[key] = bool(row["flag"])
            self._note(key, row)
        return self.flags[key]

    def _row(self, key: str) -> Mapping[str, Any]:
        return self.extra[key] if key in self.extra else default_rows(self.kind)[key]

    def _note(self, key: str, row: Mapping[str, Any]) -> None:
        how: How = "derived" if row.get("derived") else "assumed"
        spread = None if row.get("spread") is None else float(row["spread"])
        self.known[key] = Provenance(how, str(row["source"]), spread)

    def _worked_out(self, row: Mapping[str, Any]) -> float:
        if row.get("rule") == "string_line":
            return self._nut_on_string_line(float(row["above"]))
        if "over" in row:
            return over_table(self.number(row["over"]), row["at"], row["values"])
        return self._sum(row) if "sum" in row else float(row["value"])

    def _sum(self, row: Mapping[str, Any]) -> float:
        total = sum(self.number(k) * float(f) for k, f in row["sum"])
        return float(total) + float(row.get("const", 0.0))

    def _bounded(self, key: str, row: Mapping[str, Any]) -> float:
        """The row's value between its bounds; a sum that bounds it is noted in `bound`."""
        value = self._worked_out(row)
        for name, pick in (("at_least", max), ("at_most", min)):
            limit = row.get(name)
            if isinstance(limit, Mapping):
                kept = pick(value, self._sum(limit))
                self.bound += [key] if kept != value else []
                value = kept
            elif limit is not None:
                value = pick(value, float(limit))
        return value

    def _nut_on_string_line(self, above: float) -> float:
        """Height (mm) of the string at the nut above the top's gluing plane.

        The string runs straight from the bridge (arch and bridge height) over the body's upper
        edge, where it lies `above` mm over the neck line (edge and overstand), on to the nut at
        the string length.
        """
        at_bridge = self.number("top.arch.crown") + self.number("bridge.height")
        at_edge = self.number("top.arch.edge") + self.number("neck.overstand") + above
        fall = (at_bridge - at_edge) / max(self.number("body.stop"), 1.0)
        return at_bridge - self.number("strings.length") * math.sin(math.atan(fall))


def over_table(at: float, places: list[float], values: list[float]) -> float:
    """`values` between `places` in a straight line; beyond the ends in proportion to `at`."""
    if at <= places[0]:
        return values[0] * at / places[0]
    if at >= places[-1]:
        return values[-1] * at / places[-1]
    i = next(i for i in range(1, len(places)) if at <= places[i])
    share = (at - places[i - 1]) / (places[i] - places[i - 1])
    return values[i - 1] + share * (values[i] - values[i - 1])
