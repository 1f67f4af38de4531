"""Values held against the outside: judged by a test, each with a row in docs/verification.md.

In a test ask for the fixture `verified`:

    def test_a_clamped_circle(verified: Verified) -> None:
        verified("clamped circle, uniform load, centre", ours_mm, a4 * q / (64 * d_nmm),
                 source="Timoshenko & Woinowsky-Krieger eq. 62", status="M", rel=0.01, unit="mm")

`verified.beside(...)` writes a row that is shown and not judged, with the reason for its gap.
`make docs` runs the tests of tests/outside and writes the page.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

import pytest

Status = Literal["P", "M", "C", "practice"]
_STATUS = {
    "P": "published",
    "M": "from memory",
    "C": "computed apart",
    "practice": "common practice, no source",
}
_HEAD = """# Held against the outside

Written by `make docs` from the tests in `tests/outside`; not edited by hand. *Published*: the value
was read in print or as quoted. *From memory*: recalled from the source named. *Computed apart*: by
an independent library or from the formula named. A row without an allowed gap is shown, not judged.
"""


@dataclass(frozen=True)
class Row:
    """One line of the page; `gap` and `allowed` in the unit, or as shares when `relative`."""

    section: str
    what: str
    ours: float
    expected: float
    unit: str
    gap: float
    allowed: float | None
    relative: bool
    source: str
    status: str
    reason: str


class Verified:
    """Judges one value against the outside and keeps the row."""

    def __init__(self, item: pytest.Item) -> None:
        self._item = item

    def __call__(
        self,
        what: str,
        ours: float,
        expected: float,
        *,
        source: str,
        status: Status,
        rel: float | None = None,
        abs: float | None = None,
        unit: str = "",
    ) -> None:
        """Asserts |ours − expected| <= rel·|expected|, or <= abs; exactly one of them is given."""
        if (rel is None) == (abs is None):
            raise TypeError("give either rel or abs")
        if rel is not None and expected == 0:
            raise TypeError("a share of nothing: give abs")
        allowed = abs if rel is None else rel
        row = self._row(what, ours, expected, allowed, rel is not None, source, status, unit, "")
        assert math.isfinite(row.gap), f"{what}: {ours} is not finite"
        assert math.fabs(row.gap) <= row.allowed, f"{what}: {ours} where {source} has {expected}"

    def beside(
        self,
        what: str,
        ours: float,
        expected: float,
        *,
        source: str,
        status: Status,
        reason: str,
        unit: str = "",
    ) -> None:
        """Shows `ours` beside `expected`, with the reason for the gap."""
        self._row(what, ours, expected, None, True, source, status, unit, reason)

    def _row(
        self,
        what: str,
        ours: float,
        expected: float,
        allowed: float | None,
        relative: bool,
        source: str,
        status: str,
        unit: str,
        reason: str,
    ) -> Row:
        gap = float(ours) - float(expected)
        gap = gap / math.fabs(expected) if relative and expected else gap
        doc = (getattr(self._item.getparent(pytest.Module), "obj", None).__doc__ or "").strip()
        section = doc.splitlines()[0].rstrip(".") if doc else self._item.location[0]
        row = Row(
            section=section,
            what=what,
            ours=float(ours),
            expected=float(expected),
            unit=unit,
            gap=gap,
            allowed=allowed,
            relative=relative and expected != 0,
            source=source,
            status=status,
            reason=reason,
        )
        self._item.user_properties.append(("verified", asdict(row)))
        return row


@pytest.fixture
def verified(request: pytest.FixtureRequest) -> Verified:
    """Judges a value against the outside and gives it a row in docs/verification.md."""
    return Verified(request.node)


def page(rows: Iterable[dict[str, Any]]) -> str:
    """The page, in the order of sections and names; the same rows give the same text."""
    text, section = _HEAD, None
    for row in sorted((Row(**r) for r in rows), key=lambda r: (r.section, r.what, r.source)):
        if row.section != section:
            section = row.section
            text += (
                f"\n## {section}\n\n| value | ours | outside | gap | allowed | source | status |\n"
            )
            text += "|---|---|---|---|---|---|---|\n"
        text += _line(row)
    return text


def _line(row: Row) -> str:
    unit = f" {row.unit}" if row.unit else ""
    allowed = "" if row.allowed is None else f"± {_share(row.allowed, row.relative)}"
    cells = [
        row.what + (f". {row.reason}" if row.reason else ""),
        f"{row.ours:.5g}{unit}",
        f"{row.expected:.5g}{unit}",
        _share(row.gap, row.relative, sign="+"),
        allowed,
        row.source,
        _STATUS[row.status],
    ]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def _share(value: float, relative: bool, sign: str = "") -> str:
    return f"{100 * value:{sign}.2f} %" if relative else f"{value:{sign}.2g}"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--verification", metavar="FILE", help="write the rows of `verified` there")


def pytest_configure(config: pytest.Config) -> None:
    target = config.getoption("--verification", default=None)
    if target and not hasattr(config, "workerinput"):
        config.pluginmanager.register(_Collector(Path(target)))


class _Collector:
    """Gathers the rows of all tests, also from workers, and writes the page when all passed."""

    def __init__(self, target: Path) -> None:
        self._target = target
        self._rows: list[dict[str, Any]] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call":
            self._rows += [value for name, value in report.user_properties if name == "verified"]

    def pytest_sessionfinish(self, exitstatus: int) -> None:
        if exitstatus == 0:
            self._target.write_text(page(self._rows), encoding="utf-8")
