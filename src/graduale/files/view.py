"""How a rule about an instrument names a value: its key, its figure, and whether it is assumed."""

from dataclasses import dataclass

from graduale.base.findings import Finding, Level
from graduale.records.instrument import Instrument


@dataclass(frozen=True)
class View:
    """An instrument and the name of its file, for the sentences of the rules."""

    instrument: Instrument
    name: str

    def assumed(self, key: str) -> bool:
        """Whether the value at `key` was filled in by kind."""
        known = self.instrument.known.get(key)
        return known is not None and known.how in ("assumed", "derived")

    def value(self, key: str, value: float, unit: str = "mm") -> str:
        """'body.stop 176 mm (assumed)'."""
        gap = "" if unit == "°" else " "
        text = f"{key} {value:.6g}{gap}{unit}"
        known = self.instrument.known.get(key)
        return f"{text} ({known.how})" if known and self.assumed(key) else text

    def error(self, key: str, place: str, sentence: str) -> Finding:
        """What makes the file unusable."""
        return self._finding("error", key, place, sentence)

    def warning(self, key: str, place: str, sentence: str) -> Finding:
        """What is doubtful but can be worked with."""
        return self._finding("warning", key, place, sentence)

    def _finding(self, level: Level, key: str, place: str, sentence: str) -> Finding:
        return Finding(level, key, f"{self.name}: {place}", sentence)
