"""The one text catalogue: a key and values in, a sentence out.

A template names each value with its unit as the format: `{sag:mm2}` is a length in mm with two
digits, shown in inches when asked; `{mass:g}`, `{tone:Hz}`, `{force:N}`, `{slope:deg}`,
`{share:percent}` (0.1 -> '10 %'), `{ratio:ratio}`. Without a format the value is put in as text.
"""

import re
import string
from collections.abc import Mapping
from typing import Any, Final

from graduale.base.tables import table
from graduale.words.numbers import Units, length, quantity

_LENGTH: Final = re.compile(r"mm([0-3]?)")
_UNITS: Final = {"g": "g", "Hz": "Hz", "N": "N", "MPa": "MPa", "deg": "°", "ratio": ""}


def say(key: str, units: Units = "mm", **values: object) -> str:
    """The text of `key` (dotted, e.g. 'cli.cancelled') with `values` put in.

    Errors: KeyError for an unknown key or a value that the template wants and did not get;
    both are faults of ours.
    """
    return _Writer(units).vformat(_template(key), (), values)


def has(key: str) -> bool:
    """Whether the catalogue knows `key`."""
    return key in keys()


def keys() -> frozenset[str]:
    """Every key of the catalogue."""
    return frozenset(_flat(table("graduale.words", "words")))


def wanted(key: str) -> frozenset[str]:
    """The names of the values that the text of `key` needs."""
    parsed = string.Formatter().parse(_template(key))
    return frozenset(name for _, name, _, _ in parsed if name)


def _template(key: str) -> str:
    return _flat(table("graduale.words", "words"))[key]


def _flat(nest: Mapping[str, Any], above: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in nest.items():
        if isinstance(value, Mapping):
            flat |= _flat(value, f"{above}{name}.")
        else:
            flat[above + name] = str(value)
    return flat


class _Writer(string.Formatter):
    """Formats values by the unit that the template names."""

    def __init__(self, units: Units) -> None:
        self._units = units

    def format_field(self, value: Any, format_spec: str) -> str:
        if not format_spec:
            return str(value)
        as_length = _LENGTH.fullmatch(format_spec)
        if as_length:
            return length(float(value), self._units, int(as_length.group(1) or 1))
        if format_spec == "percent":
            return quantity(100 * float(value), "%")
        if format_spec in _UNITS:
            return quantity(float(value), _UNITS[format_spec])
        return str(super().format_field(value, format_spec))
