"""The instrument file: filled by kind, with what is known of each value."""

import math
import tomllib
from pathlib import Path

import pytest

from graduale.base.findings import Refused
from graduale.files.defaults import default_rows, kind_names, kinds_table, over_table
from graduale.files.instrument import Loaded, load_instrument, parse_instrument
from graduale.files.problems import all_keys
from graduale.files.readings import parse_readings
from graduale.files.schema import InstrumentFile
from tests.house.tree import PACKAGE, ROOT

HEAD = 'format = 1\nkind = "violin"\n'
EXAMPLES = sorted((ROOT / "examples").glob("*/instrument.toml"))
REFERENCE = PACKAGE / "jobs" / "data" / "reference"


def _read(body: str, kind: str = "violin") -> Loaded:
    return parse_instrument(f'format = 1\nkind = "{kind}"\n{body}', "my.toml")


@pytest.mark.parametrize(
    "path", [*EXAMPLES, REFERENCE / "violin.toml"], ids=lambda p: p.parent.name
)
def test_the_examples_load_without_a_doubt(path: Path) -> None:
    loaded = load_instrument(path)
    assert [f.line() for f in loaded.findings if f.level != "assumed"] == []


def test_there_are_two_examples_and_a_readme_that_names_them() -> None:
    readme = (ROOT / "examples" / "README.md").read_text(encoding="utf-8")
    assert [p.parent.name for p in EXAMPLES] == ["narrow-fiddle", "violin"]
    assert all(f"`{p.parent.name}/`" in readme for p in EXAMPLES)


def test_every_default_has_a_source_and_every_value_a_default() -> None:
    for kind in kind_names():
        rows = default_rows(kind)
        assert [key for key, row in rows.items() if not str(row.get("source", "")).strip()] == []
        assert kinds_table()[kind]["strings"]["source"]
        assert len(rows) == len(kinds_table()[kind]["rows"])
        assert set(rows) <= set(all_keys(InstrumentFile))
        assert set(rows) == set(default_rows("violin"))


@pytest.mark.parametrize(
    ("length", "widths", "back", "top"),
    [
        (285, (133, 91, 163), 13.2, 13.7),
        (320, (145, 97, 182), 13.7, 14.3),
        (335, (156, 105, 195), 14.1, 14.9),
        (345, (162, 109, 200), 14.3, 15.2),
        (355, (168, 112, 206), 14.5, 15.5),
    ],
)
def test_a_violin_follows_the_averages_of_its_size(
    length: float, widths: tuple[float, float, float], back: float, top: float
) -> None:
    """An averages table of the trade (public text, no single authority), 1/4 to 4/4."""
    i = _read(f"[body]\nlength = {length}").instrument
    body = i.body
    assert (body.upper_width_mm, body.waist_width_mm, body.lower_width_mm) == widths
    assert (i.back.arch.crown_mm, i.top.arch.crown_mm) == (back, top)


def test_between_and_beyond_the_sizes() -> None:
    assert over_table(350.0, [345.0, 355.0], [162.0, 168.0]) == pytest.approx(165.0)
    assert over_table(710.0, [345.0, 355.0], [162.0, 168.0]) == pytest.approx(336.0)
    assert over_table(172.5, [345.0, 355.0], [162.0, 168.0]) == pytest.approx(81.0)


def test_a_full_size_violin_sets_up_as_usual() -> None:
    """Stop 195, string 328, post 6.0 to 6.5, break angle about 157 to 158 (from memory)."""
    i = _read("").instrument
    assert i.body.stop_mm == pytest.approx(195.0, abs=1.0)
    assert i.strings.length_mm == pytest.approx(328.0, abs=1.0)
    assert 6.0 <= i.post.diameter_mm <= 6.5
    crown = i.top.arch.crown_mm + i.bridge.height_mm
    front = math.asin((crown - i.neck.nut_height_mm) / i.strings.length_mm)
    behind = math.atan((crown - i.neck.saddle_height_mm) / i.bridge.x_mm)
    assert 180.0 - math.degrees(front + behind) == pytest.approx(157.5, abs=1.0)


def test_given_assumed_and_derived_are_told_apart() -> None:
    loaded = _read(
        '[body]\nlength = { value = 350, spread = 1, source = "rule", how = "measured" }'
    )
    known = loaded.instrument.known
    assert (known["body.length"].how, known["body.length"].source) == ("measured", "rule")
    assert known["body.length"].spread == 1.0
    assert known["body.waist_width"].how == "assumed"
    assert known["bridge.x"].how == "derived"
    told = {f.where for f in loaded.findings if f.level == "assumed"}
    assert told == {f"my.toml: {k}" for k, p in known.items() if p.how == "assumed"}


def test_a_plain_number_is_given_by_the_file() -> None:
    known = _read("[body]\nlength = 350").instrument.known["body.length"]
    assert (known.how, known.source, known.spread) == ("given", "my.toml", None)


def test_the_bridge_gives_the_stop_and_one_rib_height_both() -> None:
    i = _read("[body]\nlength = 350\nrib_height = 29\n[bridge]\nx = 150").instrument
    assert i.body.stop_mm == 200.0
    assert (i.body.rib_height_upper_mm, i.body.rib_height_lower_mm) == (29.0, 29.0)
    i = _read("[body]\nrib_height_lower = 32").instrument
    assert i.body.rib_height_upper_mm == 32.0
    assert i.known["body.rib_height_upper"].how == "assumed"


def test_inches_by_file_and_by_value() -> None:
    i = _read('units = "inch"\n[body]\nlength = 14\nlower_width = "206 mm"').instrument
    assert i.body.length_mm == pytest.approx(355.6)
    assert i.body.lower_width_mm == 206.0
    assert _read('[body]\nlength = "14 in"').instrument.body.length_mm == pytest.approx(355.6)


def test_absent_parts_have_no_assumptions() -> None:
    known = _read("[bar]\npresent = false\n[soundholes]\npresent = false").instrument.known
    assert [k for k in known if k.startswith(("bar.", "soundholes."))] == [
        "bar.present",
        "soundholes.present",
    ]


def test_own_strings_replace_the_kinds() -> None:
    rows = '[[strings.string]]\nnote = "A4"\nmaterial = "gut"\ngauge = 0.8\n'
    strings = _read(f"[strings]\npitch = 415\n{rows}").instrument.strings
    assert [(s.note, s.frequency_hz, s.gauge_mm) for s in strings.strings] == [("A4", 415.0, 0.8)]
    assert [s.note for s in _read("").instrument.strings.strings] == ["G3", "D4", "A4", "E5"]


def _traced() -> list[list[float]]:
    half = [
        (0, 0),
        (10, 60),
        (70, 100),
        (140, 88),
        (200, 55),
        (220, 76),
        (290, 84),
        (345, 40),
        (355, 0),
    ]
    return [[x, y] for x, y in half] + [[x, -y] for x, y in half[-2:0:-1]]


def test_a_traced_outline_gives_the_main_dimensions() -> None:
    i = _read(f"[body]\noutline_points = {_traced()}").instrument
    body = i.body
    assert body.length_mm == 355.0
    assert body.lower_width_mm == pytest.approx(200.0, abs=1.0)
    assert body.upper_width_mm == pytest.approx(168.0, abs=1.0)
    assert body.waist_width_mm == pytest.approx(110.0, abs=1.5)
    assert body.lower_at_mm == pytest.approx(70.0, abs=1.0)
    assert len(body.outline_points) == 16
    assert i.known["body.lower_width"].how == "derived"


def test_a_workshop_beside_the_instrument_is_outranked_by_it(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(HEAD + '[workshop]\npaper = "A4"\n', encoding="utf-8")
    (tmp_path / "workshop.toml").write_text(
        'format = 1\npaper = "Letter"\nprinted_scale_x = 99.2\nsheet_units = "inch"\n'
        '[guide_holes]\nbit = 5\nmethod = "collar"\n',
        encoding="utf-8",
    )
    i = load_instrument(tmp_path / "my.toml").instrument
    assert (i.workshop.paper, i.workshop.units) == ("A4", "inch")
    assert i.workshop.printer_x == pytest.approx(0.992)
    assert (i.drill.bit_mm, i.drill.method) == (5.0, "collar")
    assert i.known["workshop.printed_scale_x"].source == "workshop.toml"


def test_the_environment_names_a_workshop_for_all_instruments(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """GRADUALE_WORKSHOP is read where none stands beside the instrument; one that is not there is
    told, and a decision's own folder never looks elsewhere."""
    own, shop = tmp_path / "a" / "my.toml", tmp_path / "shop.toml"
    own.parent.mkdir()
    own.write_text(HEAD, encoding="utf-8")
    shop.write_text('format = 1\npaper = "Letter"\n', encoding="utf-8")
    monkeypatch.setenv("GRADUALE_WORKSHOP", str(shop))
    assert load_instrument(own).instrument.workshop.paper == "Letter"
    assert load_instrument(own, beside_only=True).instrument.workshop.paper == "A4"
    monkeypatch.setenv("GRADUALE_WORKSHOP", str(tmp_path / "none.toml"))
    with pytest.raises(Refused, match=r"none.toml: does not exist; check the name"):
        load_instrument(own)
    (own.parent / "workshop.toml").write_text('format = 1\npaper = "A4"\n', encoding="utf-8")
    assert load_instrument(own).instrument.known["workshop.paper"].source == "workshop.toml"


def test_a_bad_workshop_is_told_with_its_own_name(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(HEAD, encoding="utf-8")
    (tmp_path / "workshop.toml").write_text('format = 1\npapper = "A4"\n', encoding="utf-8")
    with pytest.raises(Refused, match=r"workshop.toml: papper: .*did you mean 'paper'"):
        load_instrument(tmp_path / "my.toml")


def test_the_band_names_every_member_with_a_source() -> None:
    """Weights 60/75 and 90/115 g from memory; thicknesses of the averages table, 4/4 column."""
    band = tomllib.loads((REFERENCE / "band.toml").read_text(encoding="utf-8"))
    assert set(band["member"]) == {"thin", "average", "thick"}
    assert all(row["source"] for row in (*band["member"].values(), *band["average"].values()))
    weights = {
        m: (r.get("top_mass_with_bar_g"), r.get("back_mass_g")) for m, r in band["member"].items()
    }
    assert weights == {"average": (None, None), "thin": (60.0, 90.0), "thick": (75.0, 115.0)}
    back = band["average"]["back"]
    assert (back["centre"], back["bouts"], back["channel"], back["edge"]) == (4.3, 2.5, 2.3, 3.8)
    top = band["average"]["top"]
    assert (top["post_zone"], top["bouts"], top["channel"], top["edge"]) == (3.0, 2.7, 2.4, 4.0)


def test_the_page_names_every_key_and_its_examples_can_be_read() -> None:
    page = (ROOT / "docs" / "instrument-file.md").read_text(encoding="utf-8")
    last = {key.rsplit(".", 1)[-1] for key in all_keys(InstrumentFile)}
    assert [key for key in sorted(last) if f"`{key}`" not in page] == []
    assert [kind for kind in kind_names() if f"`{kind}`" not in page] == []
    blocks = page.split("```toml\n")[1:]
    instrument, workshop = (block.split("```")[0] for block in blocks)
    loaded = parse_instrument(instrument, "page.toml", (workshop, "workshop.toml"))
    assert loaded.instrument.body.waist_width_mm == pytest.approx(60.325)
    assert loaded.instrument.workshop.printer_x == pytest.approx(0.996)
    readings = page.split("```\nplate,")[1].split("```")[0]
    assert parse_readings("plate," + readings, "r.csv").t_mm[0] == 3.2
