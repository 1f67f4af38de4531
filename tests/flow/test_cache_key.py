"""The key of the reference band: another formula, another table or another library changes it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import graduale
from graduale.base import digest
from graduale.jobs import reference
from graduale.store.cache import Entry, user_cache

PACKAGE = Path(graduale.__file__).parent
_ASK = "from graduale.jobs.reference import reference_key; print(reference_key())"
# one formula each: (file, what stands there, what is put there instead)
CHANGES = [
    ("shell/bending.py", "SHEAR_FACTOR = 5.0 / 6.0", "SHEAR_FACTOR = 5.0 / 6.1"),
    ("strings/tension.py", "2.0", "2.1"),
    ("box/verdicts.py", "K_DEF = 0.8", "K_DEF = 0.9"),
    ("thickness/field.py", "_RING_SHARE = 0.6", "_RING_SHARE = 0.5"),
    ("jobs/reference.py", "_WIDEST_FACTOR = (0.4, 2.5)", "_WIDEST_FACTOR = (0.3, 2.5)"),
    ("base/units.py", "", "\n"),
    ("wood/data/species.toml", "", "\n"),
    ("jobs/data/reference/band.toml", "", "\n"),
]


def _key(root: Path) -> str:
    environment = os.environ | {"PYTHONPATH": str(root)}
    done = subprocess.run(
        [sys.executable, "-P", "-c", _ASK],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the whole package."""
    root = tmp_path_factory.mktemp("copy")
    shutil.copytree(PACKAGE, root / "graduale", ignore=shutil.ignore_patterns("__pycache__"))
    return root


def test_the_same_code_has_the_same_key_wherever_it_lies(copy: Path) -> None:
    assert _key(copy) == reference.reference_key()


@pytest.mark.parametrize(("name", "before", "after"), CHANGES, ids=[c[0] for c in CHANGES])
def test_one_changed_formula_or_table_changes_the_key(
    copy: Path, name: str, before: str, after: str
) -> None:
    path = copy / "graduale" / name
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1) if before else text + after, encoding="utf-8")
    try:
        assert _key(copy) != reference.reference_key()
    finally:
        path.write_text(text, encoding="utf-8")


def test_another_library_changes_the_key(monkeypatch: pytest.MonkeyPatch) -> None:
    before = reference.reference_key()
    changed = (("python", "3.99"), *digest.versions()[1:])
    monkeypatch.setattr(reference, "versions", lambda: changed)
    assert reference.reference_key() != before


def test_a_damaged_band_is_made_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stored band cut in half is no answer: it is computed again and stored whole."""
    monkeypatch.setenv("GRADUALE_CACHE", str(tmp_path))
    made: list[str] = []

    def band(*_: object) -> reference.Reference:
        made.append("made")
        return reference.Reference({})

    monkeypatch.setattr(reference, "_made", band)
    reference.reference(lambda f, k: None)
    reference.reference(lambda f, k: None)
    assert made == ["made"]
    path = next(tmp_path.glob("*.npz"))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    reference.reference(lambda f, k: None)
    assert made == ["made", "made"]
    assert user_cache().get(reference.reference_key()) is not None
    assert isinstance(user_cache().get(reference.reference_key()), Entry)
