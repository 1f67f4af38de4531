"""The same fact written in another way: what then follows from it, instead of the kind's rows."""

import shapely

from graduale.base.findings import Finding
from graduale.files.defaults import Sheet
from graduale.files.fields import Points
from graduale.files.problems import error
from graduale.files.traced import dimensions_of
from graduale.records.instrument import Provenance

_UPPER, _LOWER = "body.rib_height_upper", "body.rib_height_lower"


def relate(sheet: Sheet, outline: Points | None, name: str) -> list[Finding]:
    """Fills `sheet` with what the maker's own values imply; what contradicts comes back."""
    found = _trace(sheet, outline, name) if outline else []
    if "bridge.x" in sheet.numbers and "body.stop" not in sheet.numbers:
        sheet.extra["body.stop"] = {
            "sum": [["body.length", 1.0], ["bridge.x", -1.0]],
            "derived": True,
            "source": "body length less bridge position",
        }
    _ribs(sheet)
    return found


def _trace(sheet: Sheet, outline: Points, name: str) -> list[Finding]:
    ring = shapely.Polygon(outline)
    if not ring.is_valid or ring.area < 1.0:
        sentence = (
            f"the outline crosses itself ({shapely.is_valid_reason(ring).lower()} mm); write the "
            "points in order round the edge, or correct the one that strays."
        )
        return [error("outline-crosses-itself", name, "body.outline_points", sentence)]
    found = []
    for key, value in dimensions_of(outline).items():
        told = sheet.numbers.get(key, value)
        if abs(told - value) > max(1.0, 0.01 * value):
            sentence = (
                f"{told:g} mm, but the outline's points give {value:g} mm; leave this key out or "
                "correct the points."
            )
            found.append(error("outline-contradicts", name, key, sentence))
        sheet.numbers[key] = value
        sheet.known[key] = Provenance("derived", "read off body.outline_points")
    return found


def _ribs(sheet: Sheet) -> None:
    """One rib height for all, or the one of the other end."""
    for key, other in ((_UPPER, _LOWER), (_LOWER, _UPPER)):
        origin = "body.rib_height" if "body.rib_height" in sheet.numbers else other
        if origin in sheet.numbers and key not in sheet.numbers:
            sheet.extra[key] = {
                "sum": [[origin, 1.0]],
                "derived": origin == "body.rib_height",
                "spread": sheet.known[origin].spread,
                "source": f"as {origin}",
            }
