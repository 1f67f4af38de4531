"""Readers of single values for the schema: quantities within limits, points, texts, flags.

Limits are wide: they catch slips of unit and of the decimal point, not odd instruments.
"""

import math
from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from graduale.base.units import MM_PER_INCH
from graduale.files.quantity import (
    ANGLE,
    DENSITY,
    FORCE,
    HERTZ,
    LENGTH,
    LINE,
    MASS,
    MODULUS,
    PERCENT,
    Given,
    Unreadable,
    finite,
    read_quantity,
    shown,
)

Num = Given | None
Points = tuple[tuple[float, ...], ...]


def problem(sentence: str) -> PydanticCustomError:
    """One error whose text is already the whole sentence."""
    return PydanticCustomError("sentence", "{sentence}", {"sentence": sentence})


def _scale(info: ValidationInfo) -> float:
    context: dict[str, Any] = info.context or {}
    return float(context.get("scale", 1.0))


def number(dimension: str, low: float, high: float) -> PlainValidator:
    """Reads one quantity and holds it between `low` and `high` (own unit, both allowed)."""

    def read(raw: Any, info: ValidationInfo) -> Given:
        scale = _scale(info) if dimension == LENGTH else 1.0
        try:
            given = read_quantity(raw, dimension, scale)
        except Unreadable as sentence:
            raise problem(str(sentence)) from None
        _check_range(given.value, dimension, low, high, scale)
        return given

    return PlainValidator(read)


def mm(low: float, high: float) -> PlainValidator:
    """A length in mm."""
    return number(LENGTH, low, high)


def _check_range(value: float, dimension: str, low: float, high: float, scale: float) -> None:
    if low <= value <= high:
        return
    unit = {
        LENGTH: " mm",
        ANGLE: "°",
        MASS: " g",
        HERTZ: " Hz",
        FORCE: " N",
        MODULUS: " MPa",
        DENSITY: " kg/m3",
        LINE: " g/m",
        PERCENT: " %",
    }.get(dimension, "")
    if value <= 0.0 <= low:
        what = "zero" if value == 0.0 else f"negative ({value:g}{unit})"
        raise problem(
            f"is {what}; write a number from {low:g} to {high:g}{unit}, or leave the key out"
        )
    side = "smaller" if value < low else "larger"
    hint = ""
    if dimension == LENGTH and scale == 1.0 and low <= value * MM_PER_INCH <= high:
        hint = f'; is this in inches? then write units = "inch" at the top, or "{value:g} in"'
    elif dimension == LENGTH and scale == MM_PER_INCH and low <= value / MM_PER_INCH <= high:
        hint = f'; is this in millimetres? then write units = "mm", or "{value / MM_PER_INCH:g} mm"'
    raise problem(
        f"is {value:g}{unit}, {side} than any this program works with ({low:g} to "
        f"{high:g}{unit}){hint or '; correct the number or its unit'}"
    )


def point_list(columns: int, least: int, what: str) -> PlainValidator:
    """A list of points of `columns` lengths each, at least `least` of them."""

    def read(raw: Any, info: ValidationInfo) -> Points:
        if not isinstance(raw, list):
            raise problem(f"must be a list of points; write [[{what}], [{what}], ...]")
        if len(raw) < least:
            raise problem(f"holds {len(raw)} points; at least {least} are needed, each [{what}]")
        if len(raw) > 20000:
            raise problem(f"holds {len(raw)} points; write every tenth, 20000 at the most")
        return tuple(_point(row, columns, i, what, _scale(info)) for i, row in enumerate(raw, 1))

    return PlainValidator(read)


def _point(row: Any, columns: int, at: int, what: str, scale: float) -> tuple[float, ...]:
    if not isinstance(row, list) or len(row) != columns:
        raise problem(f"point {at} is {shown(row)}; write [{what}]")
    try:
        values = tuple(read_quantity(v, LENGTH, scale).value for v in row)
    except Unreadable as sentence:
        raise problem(f"point {at}: {sentence}") from None
    if any(abs(v) > 5000.0 for v in values):
        raise problem(f"point {at} is {shown(row)}, farther than 5 m; correct the number")
    return values


def _text(raw: Any, info: ValidationInfo) -> str:
    if not isinstance(raw, str) or not raw.strip():
        raise problem(f"{shown(raw)} is no text; write it in quotation marks")
    if len(raw) > 120 or any(not c.isprintable() for c in raw):
        raise problem("is longer than 120 letters or holds line breaks; write one short line")
    return raw.strip()


def _flag(raw: Any) -> bool:
    if not isinstance(raw, bool):
        raise problem(f"{shown(raw)} is neither true nor false; write true or false, without marks")
    return raw


Text = Annotated[str | None, PlainValidator(_text)]
Flag = Annotated[bool | None, PlainValidator(_flag)]


def hole_polygons(raw: Any, scale: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Polygons [[[x, y], ...], ...] of soundholes in mm. Raises Unreadable."""
    if not isinstance(raw, list) or not 1 <= len(raw) <= 8:
        raise Unreadable("must be a list of polygons, each a list of at least 6 points [x, y]")
    return tuple(_polygon(ring, i, scale) for i, ring in enumerate(raw, 1))


def _polygon(ring: Any, at: int, scale: float) -> tuple[tuple[float, float], ...]:
    if not isinstance(ring, list) or not 6 <= len(ring) <= 5000:
        raise Unreadable(f"polygon {at} needs 6 to 5000 points, each [x, y]")
    out: list[tuple[float, float]] = []
    for row in ring:
        if not isinstance(row, list) or len(row) != 2:
            raise Unreadable(f"polygon {at} holds {shown(row)}; write each point as [x, y]")
        x, y = (read_quantity(v, LENGTH, scale).value for v in row)
        out.append((finite(x), finite(y)))
    if math.isclose(_area(out), 0.0, abs_tol=1.0):
        raise Unreadable(f"polygon {at} encloses no area; write its points in order around it")
    return tuple(out)


def _area(ring: list[tuple[float, float]]) -> float:
    turned = ring[1:] + ring[:1]
    return 0.5 * sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, turned, strict=True))
