"""A slice of the damaged files: each is read, or refused in clear sentences.

The whole of it runs by command, see benchmarks/README.md.
"""

from collections import Counter
from random import Random

import pytest
from benchmarks.robust import damage, fuzz
from benchmarks.robust.sound_files import check_sound, instruments, readings

from graduale.base.findings import Finding

FILES = 1500


def test_the_files_are_sound_before_they_are_damaged() -> None:
    check_sound()
    assert len(instruments()) >= 7
    assert len(readings()) == 3


def test_damaged_files_are_read_or_refused_in_clear_sentences(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No traceback, no flood, no letters that a terminal would obey; each within ten seconds."""
    for module, name in fuzz.KEPT:
        monkeypatch.setattr(module, name, getattr(module, name))
    fuzz.keep_shapes()
    rows = [fuzz.tried(seed, draw=10_000) for seed in range(1, FILES + 1)]
    assert [(r["seed"], r["fault"]) for r in rows if "fault" in r] == []
    outcomes = Counter(r["outcome"] for r in rows)
    assert outcomes["refused"] > 0.3 * FILES  # the damage bites,
    assert outcomes["read"] > 0.05 * FILES  # and some of it can be lived with


@pytest.mark.parametrize("kind", [*damage.EITHER, *damage.IN_TOML, *damage.IN_TABLES])
def test_every_kind_of_damage_changes_something(kind: damage.Damage) -> None:
    raw = instruments()[0] if kind not in damage.IN_TABLES else readings()[0]
    assert any(kind(raw, Random(seed)) != raw for seed in range(12))


@pytest.mark.parametrize(
    ("finding", "why"),
    [
        (Finding("error", "k", "body.length", "is wrong; correct it."), "names no file"),
        (Finding("error", "k", "my.toml: x", "is wrong; correct it"), "no whole sentence"),
        (Finding("error", "k", "my.toml: x", "rings \a; correct it."), "cannot be printed"),
        (Finding("error", "k", "my.toml: x", "w" * 700 + "."), "letters"),
        (Finding("error", "k", "my.toml: x", "ValueError('no') came up."), "the inside"),
    ],
)
def test_the_judge_of_sentences_sees(finding: Finding, why: str) -> None:
    assert why in fuzz.unclear([finding], "my.toml")
    assert "lines at once" in fuzz.unclear([finding] * 100, "my.toml")


def test_a_fault_and_a_hang_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyError("lost")

    def endless(*_: object) -> None:
        while True:
            pass

    monkeypatch.setattr(fuzz, "parse_readings", broken)
    assert any("KeyError" in fuzz.tried(s).get("fault", "") for s in range(3, 100, 4))
    monkeypatch.setattr(fuzz, "parse_readings", endless)
    slow = [fuzz.tried(s, limit_s=0.05) for s in range(3, 15, 4)]
    assert any("TooSlow" in r.get("fault", "") for r in slow)
