"""Bass and treble on the real sheets: where each hole of the decision stands on paper.

Seen from inside with the neck up, the bass side is on the right of the top and on the left of the
back; a left-handed instrument is its mirror image.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from graduale.jobs.decide import paper_files
from graduale.jobs.earlier import Earlier, read_earlier
from graduale.jobs.holeplan import plans_of
from graduale.plan.records import HolePlan
from graduale.records.instrument import PlateName
from tests.flow.prints_readback import Page, pages
from tests.flow.reading_sheets import plate_on, with_words

CLEAR_MM = 14.0  # farther from the middle than a label stands from its hole
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def earlier(decided_folder: Path) -> Earlier:
    return read_earlier(decided_folder)


@pytest.fixture(scope="module")
def plans(earlier: Earlier) -> Mapping[PlateName, HolePlan]:
    return plans_of(earlier.instrument, earlier.targets())


@pytest.fixture(scope="module", params=[False, True], ids=["right-handed", "left-handed"])
def printed(
    request: pytest.FixtureRequest, earlier: Earlier, plans: Mapping[PlateName, HolePlan]
) -> tuple[bool, list[Page]]:
    """Whether left-handed, and all pages."""
    instrument = replace(earlier.instrument, left_handed=request.param)
    files = paper_files(instrument, earlier.bodies, earlier.document, plans, ("A4",))
    pdf = files["sheets-A4.pdf"]
    assert isinstance(pdf, bytes)
    return request.param, pages(pdf)


def middle_of(page: Page) -> float:
    """Where the middle line stands on the page: half way between the plate's widest places."""
    edge = plate_on(page).points
    return 0.5 * float(edge[:, 0].min() + edge[:, 0].max())


@pytest.mark.parametrize("which", ["top", "back"])
def test_each_hole_stands_on_its_own_side_with_the_neck_up(
    which: PlateName,
    printed: tuple[bool, list[Page]],
    plans: Mapping[PlateName, HolePlan],
) -> None:
    left_handed, found = printed
    bass = (1.0 if which == "top" else -1.0) * (-1.0 if left_handed else 1.0)
    holes = {h.id: h for h in plans[which].holes}
    seen = set()
    for page in with_words(found, f"{which.upper()} plate", "Guide holes, paste inside"):
        middle, low = middle_of(page), float(plate_on(page).points[:, 1].min())
        for word, u, v in page.words:
            name = word.split()[0]
            if name not in holes:
                continue
            seen.add(name)
            hole = holes[name]
            assert v - low == pytest.approx(hole.x_mm, abs=CLEAR_MM), name
            if abs(hole.y_mm) > CLEAR_MM:
                assert np.sign(u - middle) == np.sign(hole.y_mm) * bass, name
    assert seen == set(holes)


@pytest.mark.parametrize("which", ["top", "back"])
def test_the_words_bass_and_treble_stand_on_their_sides(
    which: PlateName, printed: tuple[bool, list[Page]]
) -> None:
    left_handed, found = printed
    right = (which == "top") != left_handed
    for page in with_words(found, f"{which.upper()} plate, seen from the INSIDE"):
        bass = next(u for w, u, _ in page.words if w.strip() in ("◄ BASS", "BASS ►"))
        treble = next(u for w, u, _ in page.words if w.strip() in ("◄ TREBLE", "TREBLE ►"))
        assert (bass > treble) == right
        assert ("left-handed" in page.text) == left_handed


def test_the_bar_lies_under_the_bass_foot_and_the_post_behind_the_treble_foot(
    earlier: Earlier,
) -> None:
    i = earlier.instrument
    assert i.bridge.bass_foot_y_mm > 0 > i.bridge.treble_foot_y_mm
    assert min(i.bar.lower_y_mm, i.bar.upper_y_mm) > 0 > i.post.y_mm
    assert i.post.x_mm < i.bridge.x_mm
    shares = earlier.document["setup"]["foot_shares"]
    assert sum(shares) == pytest.approx(1.0, abs=0.002)
    names = list(earlier.document["setup"]["tensions_n"])
    assert sorted(names) == sorted(s.note for s in i.strings.strings)


def test_stations_say_the_side_they_lie_on(earlier: Earlier) -> None:
    for which in ("top", "back"):
        for station in earlier.document["plates"][which]["stations"]:
            side = station["name"].split()[1][0]
            assert np.sign(station["y_mm"]) == {"M": 0.0, "B": 1.0, "T": -1.0}[side]
