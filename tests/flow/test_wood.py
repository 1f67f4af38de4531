"""`wood` as a maker types it: what the taps say, the table it writes, and what it refuses."""

import json
import re
from pathlib import Path

import pytest

from graduale.cli import main
from graduale.files.instrument import load_instrument
from graduale.wood.material import wood_of
from tests.flow.typed import NARROW, typed

READINGS = NARROW.parent / "readings.csv"
# Plate 2 of Badiane et al. (J. Acoust. Soc. Am.): size, mass and peaks as measured.
BOARD = ("--board", "580", "217.2", "4.9 mm", "--mass", "256 g")
TONES = ("--tones", "51.5,76,127.5", "163", "190.5", "208.5")


def spoken(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Exit code, stdout, stderr of `graduale wood` on the example."""
    code = main.main(["wood", str(NARROW), "--quiet", *words])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def test_a_board_tells_its_wood_on_one_screen(tmp_path: Path) -> None:
    done = typed(tmp_path, "wood", str(NARROW), "--plate", "top", *BOARD, *TONES)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 100
    for words in ("EL ", "GRT ", "before", "overlap", "twist", "0,2", "Would help most", "Misfit"):
        assert words in done.stdout, words
    assert re.search(r"163\.0 +4 +0,2", done.stdout)


def test_the_table_it_writes_is_one_the_instrument_file_takes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "wood.toml"
    words = ("--plate", "top", *BOARD, *TONES, "--out", str(out), "--json")
    code, told, _ = spoken(capsys, *words)
    assert code == 0
    found = json.loads(told)["wood"]
    text = NARROW.read_text(encoding="utf-8")
    start, end = text.index("[top.wood]"), text.index("[back.wood]")
    mended = tmp_path / "mended.toml"
    mended.write_text(text[:start] + out.read_text(encoding="utf-8") + "\n" + text[end:])
    wood = wood_of(load_instrument(mended).instrument.top.wood, "top.wood")
    assert wood.density_kg_m3 == pytest.approx(found["density"]["after"], rel=1e-4)
    for name, value in wood.moduli().items():
        assert value == pytest.approx(found[name]["after"], rel=1e-4), name
    assert load_instrument(mended).instrument.top.wood.ring_angle_deg == 3.0
    again = ["wood", str(mended), "--quiet", "--json", "--plate", "top", *BOARD, "--tones", "163"]
    assert main.main(again) == 0
    begun = json.loads(capsys.readouterr().out)["wood"]
    for name in ("density", "EL", "ER", "GLR", "GRT"):  # it begins where the file says
        assert begun[name]["before"] == pytest.approx(found[name]["after"], rel=1e-4), name
        assert begun[name]["spread_before"] == pytest.approx(found[name]["spread"], rel=0.01), name
    assert spoken(capsys, *words)[0] == 2  # the file exists now


@pytest.mark.slow
def test_a_plate_that_was_read_by_caliper(capsys: pytest.CaptureFixture[str]) -> None:
    """The half-carved example top: its state from the stage of the readings, a named tone to its
    own mode, and nothing less sure than before."""
    words = ("--plate", "top", "--readings", str(READINGS), "--json", "--tones", "twist=231,450")
    code, told, _ = spoken(capsys, *words)
    assert code == 0
    found = json.loads(told)
    assert (found["state"], found["thickness_from"]) == ("before_holes", "readings")
    assert found["taps"][0]["mode"] == "twist"
    assert found["mass_g"]["weighed"] is None
    for one in found["wood"].values():
        assert one["spread"] <= one["spread_before"] + 1e-4
    assert found["wood"]["GLR"]["spread"] < 0.5 * found["wood"]["GLR"]["spread_before"]


@pytest.mark.parametrize(
    ("words", "key", "said"),
    [
        ((*BOARD, "--tones", "5"), "bad-tone", "5 Hz cannot be"),
        ((*BOARD, "--tones", "168,168.2"), "bad-tone", "one tone heard twice"),
        ((*BOARD, "--tones", "loud"), "bad-number", "loud"),
        ((*BOARD, "--tones", "nan"), "bad-number", "nan"),
        ((*BOARD, "--tones", ","), "tones-count", "0 tones"),
        ((*BOARD, "--tones", *map(str, range(50, 650, 40))), "tones-count", "15 tones"),
        ((*BOARD[:4], "--mass", "25 kg", *TONES), "impossible-mass", "25000"),
        ((*BOARD[:4], "--mass", "3000 g", *TONES), "impossible-density", "no wood"),
        ((*BOARD[:4], "--mass", "20 mm", *TONES), "bad-number", "mm"),
        (("--board", "580", "217", "90", *TONES), "impossible-board", "no flat board"),
        (("--board", "580", "217", "-3", *TONES), "impossible-board", "no flat board"),
        ((*BOARD, "--tones", "2900"), "no-tone-matched", "none of these tones"),
        (TONES, "thickness-source", "--readings FILE, --decision DIR or --board"),
        ((*BOARD, "--readings", str(READINGS), *TONES), "thickness-source", "from one place"),
        (("--decision", "nowhere", *TONES), "no-decision", "graduale decide"),
        (("--readings", "nowhere.csv", *TONES), "no-such-file", "nowhere.csv"),
    ],
)
def test_what_cannot_be_is_one_clear_sentence(
    words: tuple[str, ...], key: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, told, err = spoken(capsys, "--json", "--plate", "top", *words)
    assert code == 2
    findings = json.loads(told)["findings"]
    assert [f["key"] for f in findings] == [key], findings
    assert said in findings[0]["sentence"] or said in findings[0]["where"]
    assert len(err.splitlines()) == 1


def test_a_plate_carved_to_a_decision(
    decided_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The top as decided, with its bar, tapped where the decision foresees its tones: the wood of
    the file comes back as it was."""
    plate = json.loads((decided_folder / "decision.json").read_bytes())["plates"]["top"]
    tones = ",".join(f"{t['hz']:.1f}" for t in plate["tap_tones"][:5])
    words = ("--plate", "top", "--decision", str(decided_folder), "--mass", f"{plate['mass_g']} g")
    code, told, err = spoken(capsys, *words, "--tones", tones, "--json")
    assert code == 0, err
    found = json.loads(told)
    assert (found["state"], found["thickness_from"]) == ("finished", "decision")
    assert [t["number"] for t in found["taps"]] == [1, 2, 3, 4, 5]
    assert found["misfit"] < 0.5
    for name in ("density", "EL", "ER", "GLR"):
        one = found["wood"][name]
        assert one["after"] == pytest.approx(one["before"], rel=0.03), name
