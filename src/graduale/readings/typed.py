"""What a caliper or a hand types, as a thickness in mm; and whether it wants a second look."""

import re
from dataclasses import dataclass

from graduale.base.units import MM_PER_INCH
from graduale.files.readings import DOUBTFUL_MM, LEAST_MM, MOST_MM

FAR_MM = 1.2  # from what the map expects there [own]
_TYPED = re.compile(r"[+]?\s*(\d{1,4}(?:[.,]\d{0,4})?|[.,]\d{1,4})\s*(mm|in)?", re.ASCII)


@dataclass(frozen=True)
class Typed:
    """A reading in mm, or None with the sentence's key that says why not ('no_number', ...)."""

    mm: float | None
    wrong: str = ""


def typed_thickness(text: str, *, inches: bool = False) -> Typed:
    """`2,53`, `+002.53`, `.98`, `2.53mm` -> mm. A number without a unit is in the page's unit.

    Errors are told by key: 'no_number', 'too_thin', 'too_thick'.
    """
    found = _TYPED.fullmatch(text.strip().lower())
    if found is None:
        return Typed(None, "no_number")
    number = float(found[1].replace(",", "."))
    mm = number * MM_PER_INCH if (found[2] or ("in" if inches else "mm")) == "in" else number
    if mm < LEAST_MM:
        return Typed(None, "too_thin")
    return Typed(None, "too_thick") if mm > MOST_MM else Typed(round(mm, 3))


def doubtful(t_mm: float, outside_mm: float, expected_mm: float | None) -> bool:
    """Whether a reading is more likely a slip than the wood.

    outside_mm: how thick it can be there at most, from the gluing plane to the outside;
    expected_mm: what the readings around say, if there are any.
    """
    low, high = DOUBTFUL_MM
    if not low <= t_mm <= min(high, outside_mm + 0.5):
        return True
    return expected_mm is not None and abs(t_mm - expected_mm) > max(FAR_MM, 0.4 * expected_mm)
