"""Entries as the page sends them, checked at the door."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from graduale.base.findings import refuse
from graduale.words.catalogue import say

Id = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
Short = Annotated[str, Field(max_length=60)]
Place = Annotated[float, Field(ge=-2000.0, le=2000.0, allow_inf_nan=False)]


class Sent(BaseModel):
    """One entry of the page; `typed` is what was typed, as typed."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Id
    kind: Literal["reading", "weight", "note", "stage", "strike", "accept"]
    plate: Literal["top", "back", "bar", "body", ""] = ""
    stage: Short = ""
    who: Short = ""
    station: Short = ""
    typed: Short = ""
    text: Annotated[str, Field(max_length=20_000)] = ""
    x_mm: Place = 0.0
    y_mm: Place = 0.0
    names: Annotated[str, Field(pattern=r"^([0-9a-f]{32})?$")] = ""
    at_us: Annotated[int, Field(ge=0, le=10**17)] = 0
    humidity: Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _whole(self) -> "Sent":
        if self.kind in ("reading", "stage") and self.plate not in ("top", "back"):
            raise ValueError("a reading or a stage needs a plate")
        if self.kind == "stage" and not self.stage:
            raise ValueError("which stage")
        if self.kind == "weight" and not self.plate:
            raise ValueError("a weight of what")
        if self.kind in ("strike", "accept") and not self.names:
            raise ValueError("names no entry")
        if self.kind == "note" and not self.text.strip():
            raise ValueError("an empty note")
        return self


def parsed(item: Mapping[str, Any]) -> Sent:
    """The entry. Errors: Refused when it is not of the form that the page sends."""
    try:
        return Sent.model_validate(item)
    except ValidationError:
        raise refuse("not-an-entry", "", say("bench.not_an_entry")) from None
