"""Values typed as options: read and limited like the same keys of the files."""

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from graduale.base.findings import Refused
from graduale.files.problems import findings_of
from graduale.files.quantity import Given
from graduale.files.schema import DrillTable, WorkshopTable

_TABLES: dict[str, type[BaseModel]] = {"guide_holes": DrillTable, "workshop": WorkshopTable}


def read_options(
    typed: Mapping[str, str], table: Literal["guide_holes", "workshop"]
) -> dict[str, Any]:
    """Values in the program's own units by the table's own keys; `where` of a finding is the key.

    Errors: Refused on a value that the file would refuse.
    """
    model = _TABLES[table]
    try:
        found = model.model_validate(dict(typed), context={"scale": 1.0})
    except ValidationError as wrong:
        raise Refused(findings_of(wrong, "", model)) from None
    given = {key: getattr(found, key) for key in typed}
    return {k: v.value if isinstance(v, Given) else v for k, v in given.items()}
