"""A slice of the seeded bodies that `check` accepts: all mesh.

The whole of it runs by command, see benchmarks/README.md.
"""

import pytest
from benchmarks.robust import bodies, outlines

BODIES = 12


@pytest.mark.slow
def test_every_body_that_check_accepts_is_meshed() -> None:
    """Both plates with rib line, bar and soundholes; whole areas, upright triangles, one hole for
    each opening. Seeds of every kind, and on both meshes that a decision uses."""
    rows = [outlines.meshed(seed) for seed in range(BODIES)]
    found = outlines.summary(rows)
    assert found["faults"] == []
    assert found["unsound"] == []
    assert found["accepted"] >= 0.8 * BODIES
    assert set(found["by_kind"]) == set(bodies.KINDS)
    assert found["least_angle_deg"]["least"] > 2.0
    assert found["area_off_most"] < 0.01


def test_a_fault_after_check_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ValueError("no mesh")

    monkeypatch.setattr(outlines, "mesh_for_box", broken)
    rows = [outlines.meshed(0)]
    assert [f["seed"] for f in outlines.summary_faults(rows)] == [0]
