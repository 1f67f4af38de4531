"""Where the house tests find the project's files."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "graduale"
ROOMS = sorted(p.parent.name for p in PACKAGE.glob("*/__init__.py"))
_TEXT = {".py", ".toml", ".md", ".txt", ".json", ".csv", ".svg", ".cfg", ".yml", ""}
_SHELVES = ("src", "tests", "docs", "examples", "benchmarks", "lock", ".ci")


def modules(*, outside: str | None = None) -> Iterator[tuple[str, ast.Module]]:
    """Relative name and syntax tree of every module, but for those of the room `outside`."""
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if outside is None or not name.startswith(f"{outside}/"):
            yield name, ast.parse(path.read_text(encoding="utf-8"))


def texts() -> Iterator[tuple[str, str]]:
    """Relative name and content of every text file of ours."""
    found = [p for shelf in _SHELVES for p in (ROOT / shelf).rglob("*") if p.is_file()]
    found += [p for p in ROOT.iterdir() if p.is_file() and p.name != ".git"]
    for path in sorted(found):
        if path.suffix in _TEXT and "__pycache__" not in path.parts:
            yield path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")
