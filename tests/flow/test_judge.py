"""`judge` as a maker types it, and its answers on plates that are thin, slipped, half measured."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from graduale.base.findings import Refused
from graduale.base.progress import silent
from graduale.box.readouts import solve
from graduale.box.verdicts import limits
from graduale.files.readings import parse_readings
from graduale.jobs.judge import run
from graduale.jobs.judge_document import document
from graduale.jobs.judge_known import DecidedMaps, read
from graduale.jobs.judge_room import Room, Sides, cut, plate_of, room_of, to_go
from graduale.jobs.judge_text import text_of
from graduale.jobs.judging import Judgement, Sizes, judge_readings
from graduale.jobs.reference import Member, Reference
from graduale.readings.map import PlateMap
from tests.exact.box_bodies import PLATES, small
from tests.flow.conftest import Run
from tests.flow.typed import NARROW, Done, typed

EXAMPLE = NARROW.parent / "readings.csv"
COARSE = Sizes(9.0, 12.0)
HEAD = "plate,x_mm,y_mm,thickness_mm,stage,when,note\n"


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory, shared_cache: Path) -> tuple[Done, Path]:
    """The example, judged by the real command on the real band."""
    folder = tmp_path_factory.mktemp("judge")
    done = typed(folder, "judge", str(NARROW), str(EXAMPLE), "--out", str(folder / "out"))
    return done, folder / "out"


@pytest.mark.slow
def test_the_command_tells_thin_spots_first_and_may_i_stop(judged: tuple[Done, Path]) -> None:
    done, out = judged
    assert done.returncode in (0, 3), done.stderr
    lines = done.stdout.splitlines()
    assert lines[2].startswith("THIN: back, x 195, y -16")
    assert "1.3 mm, below your least of 2.0" in done.stdout.replace("\n  ", " ")
    for words in (
        "top: may I stop?", "back: may I stop?", "across", "local", "lengthwise", "buckling",
        "before its soundholes, without bar", "tap tones", "Measure", "The band: full-size",
    ):  # fmt: skip
        assert words in done.stdout, words
    assert len(lines) <= 48
    assert (out / "summary.txt").read_text(encoding="utf-8") == done.stdout


@pytest.mark.slow
def test_the_folder_holds_document_readings_and_pictures(judged: tuple[Done, Path]) -> None:
    done, out = judged
    here = {p.relative_to(out).as_posix() for p in out.rglob("*.*")} - {".graduale-output.json"}
    pictures = {
        f"pictures/{w}-{p}.{e}"
        for w in PLATES
        for p in ("thickness", "doubt")
        for e in ("png", "svg")
    }
    assert here == {"judged.json", "summary.txt", "readings.csv", *pictures}
    assert (out / "readings.csv").read_bytes() == EXAMPLE.read_bytes()
    found = json.loads((out / "judged.json").read_bytes())
    assert done.returncode == (0 if found["safe"] else 3)
    assert [s["mm"] for s in found["plates"]["back"]["thin_spots"]] == [1.3]
    assert found["plates"]["top"]["thin_spots"] == []
    assert found["plates"]["top"]["state"] == "before_holes"


@pytest.mark.slow
def test_the_verdicts_have_the_fields_of_a_decision(
    judged: tuple[Done, Path], decided: Run
) -> None:
    ours = json.loads((judged[1] / "judged.json").read_bytes())
    theirs = decided.document
    for which in PLATES:
        for kind, one in theirs["plates"][which]["verdicts"].items():
            assert ours["plates"][which]["verdicts"][kind].keys() == one.keys()
        assert ours["plates"][which]["thickness"].keys() == {"x_mm", "y_mm", "values"}
        for name in ("x_mm", "y_mm"):
            expected = theirs["plates"][which]["thickness"][name]
            assert ours["plates"][which]["thickness"][name] == expected
    assert ours["reference"] == theirs["reference"]
    assert ours["instrument_digest"] == theirs["instrument_digest"]
    assert ours["setup"].keys() == theirs["setup"].keys()


# In process on coarse meshes, held against a band made of the same small body.


@cache
def band() -> Reference:
    """The narrow body itself at an even 3.1 stands for the average violin; the thin one is
    stressed 1.6 times as much everywhere."""
    zones = {w: np.full(4, 3.1) for w in PLATES}
    fields = {w: small().layouts[w].at(zones[w]) for w in PLATES}
    values = solve(small().reading, small().box.thickness(fields), slopes=False).values
    mass = dict.fromkeys(PLATES, 50.0)
    none: dict[str, tuple[tuple[str, float], ...]] = dict.fromkeys(PLATES, ())

    def member(factor: float) -> Member:
        scaled = {k: factor * v for k, v in values.items()}
        return Member(zones, mass, none, scaled, 20.0, "the small body of the tests")

    return Reference({"average": member(1.0), "thin": member(1.6), "thick": member(0.9)})


def places(which: str) -> np.ndarray:
    """A regular pattern of readings on the carved part, holes left out."""
    layout = small().layouts["top" if which == "top" else "back"]
    area = layout.free.buffer(-1.0)
    for ring in layout.body.openings:
        area = area.difference(shapely.Polygon(ring).buffer(2.0))
    low_x, _, high_x, _ = area.bounds
    x, y = np.arange(low_x + 2.0, high_x, 22.0), np.arange(-44.0, 45.0, 11.0)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    inside: np.ndarray = xy[shapely.contains_xy(area, xy[:, 0], xy[:, 1])]
    return inside


def rows(which: str, t_mm: float, *, slip: float | None = None) -> str:
    """Readings of an evenly thick plate as CSV, one of them a slip near the upper bout."""
    body = small().bodies["top" if which == "top" else "back"]
    xy = places(which)
    most = body.arching.height(xy) * body.arching.normal(xy)[:, 2]
    t = np.minimum(t_mm, most)
    if slip is not None:
        t[np.argmin(np.hypot(*(xy - [240.0, 0.0]).T))] = slip
    return "".join(f"{which},{x:.1f},{y:.1f},{v:.2f},,,\n" for (x, y), v in zip(xy, t, strict=True))


def judged_of(text: str, decided: dict[str, DecidedMaps] | None = None) -> Judgement:
    readings = parse_readings(HEAD + text, "r.csv")
    given = read(small().instrument, readings, "r.csv")
    return judge_readings(
        given,
        band(),
        silent,
        margin=0.1,
        decided=decided,  # type: ignore[arg-type]
        sizes=COARSE,
    )


def told(made: Judgement, text: str) -> tuple[dict[str, Any], str]:
    found = document(made, parse_readings(HEAD + text, "r.csv"))
    json.dumps(found, allow_nan=False)
    return found, text_of(found)


@cache
def thick() -> tuple[Judgement, dict[str, Any], str]:
    text = rows("top", 4.2) + rows("back", 4.0, slip=1.0)
    made = judged_of(text)
    return made, *told(made, text)


@pytest.mark.slow
def test_thick_plates_may_stop_and_have_room() -> None:
    made, found, text = thick()
    assert made.failing == ()
    assert found["plates"]["top"]["may_stop"] == "yes"
    room = found["plates"]["top"]["room"]
    assert 0.2 < room["evenly_mm"] < 2.2
    assert f"{room['evenly_mm']:.2f} mm more may come off evenly" in text


def test_what_fails_only_by_the_margin_is_told_so() -> None:
    """The band's own end, reserve 1/1.1, is within the band; a little less is not."""
    made, _, _ = thick()
    text = rows("top", 4.2) + rows("back", 4.0, slip=1.0)
    for reserve, words in ((0.95, "but without your 10% in hand"), (0.9, "DOES NOT HOLD")):
        one = replace(made.judged[0], reserve=reserve)
        said, shown = told(replace(made, judged=(one, *made.judged[1:])), text)
        assert words in shown
        assert not said["safe"]
        assert one.plate is not None
        assert said["plates"][one.plate]["may_stop"] == "no more"


def sides_of(made: Judgement) -> tuple[Sides, dict[str, float]]:
    layouts = {w: made.plates[w].layout for w in PLATES}
    rules = {w: made.plates[w].rule for w in PLATES}
    box = made.reading.box
    solved = solve(made.reading, box.thickness(rules), slopes=False)
    most = limits(made.reading, band().band, 0.1)
    return Sides(made.reading, solved, made.reading, layouts, rules, most), dict(solved.values)


def test_the_room_is_where_a_full_solve_first_fails() -> None:
    """Room on one and the same mesh: a tenth less cut holds, a tenth of a mm more does not."""
    made, _, _ = thick()
    sides, rough = sides_of(made)
    room = room_of(sides, ("top",), rough)
    assert room.limited_by in sides.limits
    now = sides.solved.t_nodes
    for less, holds in ((0.9 * room.mm, True), (room.mm + 0.1, False)):
        t = cut(made.reading, sides, ("top",), now, less)
        values = solve(made.reading, t, slopes=False).values
        assert all(values[k] <= v for k, v in sides.limits.items()) is holds
    free = made.reading.box.structure
    lost = free.mass_g(now) - free.mass_g(cut(made.reading, sides, ("top",), now, room.mm))
    assert room.grams == pytest.approx(lost, rel=1e-6)


def test_a_slip_is_judged_where_it_is_and_its_plate_is_told() -> None:
    made, found, text = thick()
    verdict = made.plates["back"].thin[0]
    assert len(made.plates["back"].thin) == 1
    assert verdict.press.ratio > verdict.half.ratio > 0.0
    assert text.splitlines()[2].startswith("THIN: back, x 230")
    stored = found["plates"]["back"]["thin_spots"][0]
    assert stored["verdict"].keys() == stored["verdict_half_reach"].keys()
    assert stored["reach_at_most_mm"] == pytest.approx(11.0, abs=0.2)
    ends = [p["x_mm"] for p in found["plates"]["back"]["measure_next"][:2]]
    assert ends == pytest.approx([stored["x_mm"] - 5.5, stored["x_mm"] + 5.5], abs=0.6)


@pytest.mark.slow
def test_thin_plates_are_called_thin_and_tell_what_fails_and_what_would_cure_it() -> None:
    text = rows("top", 2.2) + rows("back", 1.5)
    made = judged_of(text)
    found, said = told(made, text)
    lines = said.splitlines()
    assert not made.passes
    assert lines[2].startswith("THIN: back")
    assert len(made.plates["back"].thin) == 8
    assert made.plates["back"].more_thin > 0
    assert "more thin spots are not shown" in said
    assert made.plates["top"].thin == ()
    after = [x for x in lines[2:] if not x.startswith(("THIN", "  "))]
    assert after[0].startswith("DOES NOT HOLD")
    assert after[1].startswith("Fails: ")
    assert "Cure: " in said
    assert [found["plates"][w]["may_stop"] for w in PLATES] == ["no more", "no more"]
    assert made.plates["top"].room == Room(0.0, 0.0, made.plates["top"].room.limited_by)
    assert said.count("Take nothing more off") == 2
    assert found["failing"][0]["reserve"] == min(f["reserve"] for f in found["failing"])


@cache
def back_only() -> tuple[Judgement, dict[str, Any], str]:
    text = rows("back", 4.0)
    made = judged_of(text)
    return made, *told(made, text)


@pytest.mark.slow
def test_one_plate_alone_is_judged_beside_an_assumed_one_and_says_so() -> None:
    made, found, text = back_only()
    assert made.assumed == ("top",)
    assert "The top is not measured. ASSUMED" in text
    assert found["plates"]["top"]["may_stop"] == "not measured"
    assert "top: may I stop" not in text
    assert all(j.plate == "back" for j in made.failing)
    zones = 3.1 * small().instrument.body.length_mm / 355.0
    middle = made.plates["top"].rule(np.array([[160.0, 0.0]]))[0]
    assert middle == pytest.approx(zones, abs=1e-6)


def test_what_does_not_count_is_shown_apart() -> None:
    made, found, _ = back_only()
    apart = {f["key"] for f in found["failing_not_counted"]}
    assert apart == {j.key for j in made.judged if not j.passes and j.plate in ("top", None)}


@pytest.mark.slow
def test_a_decision_tells_what_is_still_to_come_off_and_stands_for_the_other_plate() -> None:
    text = rows("back", 4.0)
    maps = {}
    for which, t in (("top", 3.0), ("back", 3.2)):
        layout = small().layouts["top" if which == "top" else "back"]
        grid = PlateMap.on_grid(back_only()[0].plates["back"].map, layout.at(np.full(4, t)))
        low = replace(grid, values=grid.values - 0.6)
        maps[which] = DecidedMaps(grid, low)
    made = judged_of(text, maps)
    found, said = told(made, text)
    assert made.plates["top"].known == "decided"
    assert "The top is not measured; it is taken as decided." in said
    assert made.assumed == ()
    zones = found["plates"]["back"]["to_go"]["zones"]
    assert {z["zone"] for z in zones} == {"centre", "upper", "lower", "channel"}
    assert [z["mean_mm"] for z in zones] == sorted((z["mean_mm"] for z in zones), reverse=True)
    assert zones[0]["mean_mm"] == pytest.approx(0.8, abs=0.12)
    assert "over the decided map, in the order of the work" in said


def test_grams_to_go_are_those_of_a_shaving_of_even_thickness() -> None:
    """0.5 mm off the whole carved part: area of the sloped surface times 0.5 times density."""
    layout = small().layouts["back"]
    target = layout.at(np.full(4, 3.0))
    going = to_go(layout, lambda xy: target(xy) + 0.5, target, step_mm=2.0)
    x, y = np.arange(0.0, 330.0, 1.0), np.arange(-60.0, 60.0, 1.0)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = xy[shapely.contains_xy(layout.free, xy[:, 0], xy[:, 1])]
    gradient = layout.body.arching.gradient(xy)
    area = float(np.sqrt(1.0 + (gradient**2).sum(axis=1)).sum())
    expected = 0.5 * area * layout.body.wood.density_kg_m3 * 1e-6
    assert going.grams == pytest.approx(expected, rel=0.02)
    assert all(z.mean_mm == pytest.approx(0.5) for z in going.zones)


def test_the_plate_of_a_read_out() -> None:
    keys = ("back: press 3.1", "top: post", "across back", "across top", "sag share", "lengthwise")
    assert [plate_of(k) for k in keys] == ["back", "top", "back", "top", "top", None]


def test_a_document_written_twice_is_the_same_and_its_digest_knows_the_readings() -> None:
    made, found, _ = back_only()
    text = rows("back", 4.0)
    assert told(made, text)[0] == found
    assert told(made, text.replace("4.00", "4.01", 1))[0]["digest"] != found["digest"]


# Bad input: before anything heavy is done.


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("plate,x_mm\n", "column y_mm is missing"),
        (HEAD + "top,150,0,30,,,\n", "has 0 readings|has 1 reading"),
        (HEAD + rows("back", 3.0) + "back,150,95,3,,,\n", "lies outside the outline"),
    ],
)
def test_bad_readings_are_refused_with_a_sentence(text: str, words: str, tmp_path: Path) -> None:
    path, out = tmp_path / "r.csv", tmp_path / "out"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match=words):
        run(NARROW, path, out, silent)
    assert not out.exists()


def test_a_margin_that_is_no_share_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(HEAD + rows("back", 3.0), encoding="utf-8")
    for margin in (-0.1, 10.0, float("nan")):
        with pytest.raises(Refused, match="no share"):
            run(NARROW, path, None, silent, margin=margin)


def test_the_decision_of_another_instrument_is_refused(
    decided_folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other.toml"
    other.write_text(NARROW.read_text(encoding="utf-8").replace("value = 320", "value = 324"))
    path = tmp_path / "r.csv"
    path.write_text(HEAD + rows("back", 3.0), encoding="utf-8")
    with pytest.raises(Refused, match="another instrument"):
        run(other, path, None, silent, decision=decided_folder)
