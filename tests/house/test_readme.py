"""README and docs: links lead somewhere, pictures stay small."""

import re
from pathlib import Path

import pytest

from tests.house.tree import ROOT

_PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]
_LINK = re.compile(r"\]\(([^)#]+)(?:#[^)]*)?\)")
MOST_EACH, MOST_ALL = 200_000, 1_000_000  # bytes


@pytest.mark.parametrize("page", _PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    links = [x for x in _LINK.findall(page.read_text(encoding="utf-8")) if "://" not in x]
    assert [x for x in links if not (page.parent / x).exists()] == []


def test_pictures_are_small() -> None:
    sizes = {p.name: p.stat().st_size for p in (ROOT / "docs" / "pictures").iterdir()}
    assert sizes
    assert [name for name, size in sizes.items() if size > MOST_EACH] == []
    assert sum(sizes.values()) < MOST_ALL


def test_every_picture_is_shown() -> None:
    text = "\n".join(p.read_text(encoding="utf-8") for p in _PAGES)
    shown = {x.rsplit("/", 1)[-1] for x in _LINK.findall(text)}
    assert {p.name for p in (ROOT / "docs" / "pictures").iterdir()} <= shown
