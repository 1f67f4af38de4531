"""A slice of the extreme bodies; all of them run by command, see benchmarks/README.md."""

import pytest
from benchmarks.robust.extremes import tried

from graduale.files.instrument import parse_instrument
from graduale.jobs.check import inspect


@pytest.mark.slow
@pytest.mark.parametrize("case", ["waist 25", "no arch", "neither bar, post nor soundholes"])
def test_an_extreme_body_is_checked_meshed_and_solved(case: str) -> None:
    """Every read-out finite and positive, and better in the body when the plates are thicker."""
    row = tried(case)
    assert "fault" not in row, row
    assert "refused" not in row, row
    assert row["finite"]
    assert row["positive"]
    assert max(row["thicker"].values()) < 1.0
    assert row["plates_g"] > 10.0


def test_a_waist_too_narrow_for_anything_is_said_with_its_mend() -> None:
    row = tried("waist 17")
    assert "fault" not in row
    assert row["refused"]
    assert all(line.endswith(".") for line in row["refused"])


@pytest.mark.parametrize("waist", [25, 40, 60])
def test_soundholes_of_the_kind_fit_themselves_to_a_narrow_waist(waist: int) -> None:
    """Nothing to mend, and it is told that they were fitted; what the maker wrote stays."""
    text = f'format = 1\nkind = "narrow-fiddle"\n[body]\nwaist_width = {waist}\n'
    found = inspect(parse_instrument(text, "my.toml"), "my.toml")
    assert [f.line() for f in found.findings if f.level == "error"] == []
    fitted = [f for f in found.findings if f.key == "fitted-to-body"]
    assert any(f.where == "my.toml: soundholes" for f in fitted) == (waist < 60)
    assert found.shapes is not None
    assert len(found.shapes.holes) == 2


def test_what_the_maker_wrote_is_not_fitted() -> None:
    text = (
        'format = 1\nkind = "narrow-fiddle"\n[body]\nwaist_width = 25\n'
        "[soundholes]\nupper_eye_gap = 18\n[top.arch]\ncrown = 13\n"
    )
    loaded = parse_instrument(text, "my.toml")
    assert loaded.instrument.soundholes.upper_eye_gap_mm == 18.0
    assert loaded.instrument.top.arch.crown_mm == 13.0
    found = inspect(loaded, "my.toml")
    assert any(f.level == "error" and "leave it out" in f.sentence for f in found.findings)


def test_the_usual_bodies_are_not_fitted() -> None:
    for kind in ("violin", "viola", "narrow-fiddle"):
        found = parse_instrument(f'format = 1\nkind = "{kind}"\n', "my.toml").findings
        assert not any(f.key == "fitted-to-body" for f in found)
