"""What every use case hands to a face."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

DONE = 0
OUR_FAULT = 1
BAD_INPUT = 2
NO_SAFE_MAP = 3


@dataclass(frozen=True)
class JobResult:
    """Exit code, text for a person, and the same as plain JSON values."""

    exit_code: int
    text: str
    document: Mapping[str, Any] = field(default_factory=dict)
