"""`workshop.toml`: printer correction, paper, units of the sheets, drill, caliper.

The two printed scale lengths are what the maker measures on a printed sheet where both scales
should be 100 mm long. An instrument's own [workshop] and [guide_holes] outrank this file.
"""

import tomllib

from pydantic import ValidationError

from graduale.base.findings import Refused
from graduale.base.units import MM_PER_INCH
from graduale.files.problems import error, findings_of, toml_finding
from graduale.files.schema import WorkshopFile

WORKSHOP_NAME = "workshop.toml"


def parse_workshop(text: str, name: str) -> WorkshopFile:
    """The settings written in `text`. Raises Refused with every error."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        raise Refused([toml_finding(wrong, text, name)]) from None
    except (ValueError, RecursionError, OverflowError):
        sentence = "holds a number or a nesting too long to be read; shorten it."
        raise Refused([error("not-toml", name, "", sentence)]) from None
    scale = MM_PER_INCH if raw.get("units") == "inch" else 1.0
    try:
        return WorkshopFile.model_validate(raw, context={"scale": scale})
    except ValidationError as wrong:
        raise Refused(findings_of(wrong, name, WorkshopFile)) from None
