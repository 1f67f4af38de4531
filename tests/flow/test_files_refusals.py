"""Bad input: each one clear sentence with file, place and mend; all of them at once."""

import random
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.findings import Refused
from graduale.files.instrument import load_instrument, parse_instrument
from tests.house.tree import ROOT

HEAD = 'format = 1\nkind = "violin"\n'
EXAMPLE = (ROOT / "examples" / "narrow-fiddle" / "instrument.toml").read_text(encoding="utf-8")


def _lines(text: str) -> list[str]:
    with pytest.raises(Refused) as caught:
        parse_instrument(text, "my.toml")
    return [f.line() for f in caught.value.findings]


@pytest.mark.parametrize(
    ("body", "place", "says"),
    [
        ("[body]\nlength = 12.6", "body.length", 'is this in inches? then write units = "inch"'),
        ("[body]\nlength = 14\nlower_width = 8.1", "body.lower_width", "is this in inches?"),
        ('units = "inch"\n[body]\nlength = 355', "body.length", "is this in millimetres?"),
        ("[body]\nlength = nan", "body.length", "nan is no number"),
        ("[body]\nlength = -inf", "body.length", "-inf is no number"),
        ("[body]\nwaist_width = -60", "body.waist_width", "is negative"),
        ("[body]\nwaist_width = 0", "body.waist_width", "is zero"),
        ("[body]\nwaist_with = 60", "body.waist_with", "did you mean 'waist_width'?"),
        ("[body]\nlength_mm = 355", "body.length_mm", "did you mean 'length'?"),
        ("[boddy]\nlength = 355", "boddy", "did you mean 'body'?"),
        ("[bridge]\nlower_width = 200", "bridge.lower_width", "'body.lower_width' is its place"),
        ("body = 3", "body", "stands where a table belongs"),
        ("[strings]\nstring = 3", "strings.string", "several tables belong"),
        ('[workshop]\npaper = "A3"', "workshop.paper", '"A4" or "Letter"'),
        ("[top.wood.moduli]\nER = 0", "top.wood.moduli.ER", "is zero"),
        ("[back.wood.moduli]\nEL = -9000", "back.wood.moduli.EL", "is negative"),
        ("[body]\noutline_points = [[0, 0], [1, 1]]", "body.outline_points", "at least 12"),
        ("[body]\noutline_points = [[0, 0, 0]]", "body.outline_points", "at least 12"),
        (f"[body]\noutline_points = {[[0, 'x']] * 12}", "body.outline_points", "point 1"),
        ("[top.arch]\nlong_arch = [[0, 4], [350, 4]]", "top.arch.long_arch", "at least 5"),
        ("[top.arch]\nheights = [[0, 0, 4]]", "top.arch.heights", "at least 20"),
        ("[[top.arch.cross_arches]]\nx = 100", "top.arch.cross_arches[1].points", "is missing"),
        ("[top.arch]\ncrown = 3.5\nedge = 4", "top.arch.crown", "is not above"),
        ("[top.arch]\nchannel = 5\nedge = 4", "top.arch.channel", "is above"),
        ("[body]\nwaist_width = 210", "body.waist_width", "is not narrower than"),
        ("[body]\nwaist_at = 80", "body.lower_corner_at", "is not below"),
        ("[body]\nstop = 195\n[bridge]\nx = 190", "bridge.x", "not to body.length"),
        ("[top.arch]\ncrown = 8\n[top.inside]\nleast = 9", "top.inside.least", "cannot exceed"),
        ("[back.inside]\nleast_channel = 4", "back.inside.least_channel", "cannot exceed"),
        ("[top.wood.board]\nthickness = 9", "top.wood.board.thickness", "thinner than the arch"),
        ("[body]\nwaist_width = 60\n[top.inside]\nplatform = 28", "top.inside.platform", "inside"),
        ("[strings]\nlength = 150", "strings.length", "the nut on the body"),
        ("[bar]\nlength = 400", "bar.length", "shorten it"),
        ("[bridge]\nfoot_length = 40", "bridge.foot_length", "overlap"),
        ("[post]\ny = 99\npresent = true\nx = 150\ndiameter = 18", "post.y", "lies off the body"),
        ('[[strings.string]]\nnote = "A4"', "strings.string[1]", "has neither gauge"),
        ('[[strings.string]]\ngauge = 1\nmaterial = "gut"', "strings.string[1].note", "like"),
        ('[[strings.string]]\nnote = "A4"\ngauge = 1', "strings.string[1]", "no material"),
        ("[soundholes]\npoints = [[[1, 2]]]", "soundholes.points", "6 to 5000 points"),
        ("left_handed = 1", "left_handed", "true or false"),
        ('name = ""', "name", "quotation marks"),
    ],
)  # fmt: skip
def test_one_bad_value_is_one_sentence_at_its_key(body: str, place: str, says: str) -> None:
    lines = [line for line in _lines(HEAD + body) if line.startswith(f"my.toml: {place}: ")]
    assert len(lines) == 1
    assert says in lines[0]
    assert lines[0].endswith((".", "?"))
    assert "\n" not in lines[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "write format = 1"),
        ('kind = "violin"', "write format = 1"),
        ("format = 1", "the kind of body is missing"),
        ('format = 2\nkind = "violin"', "no format this program reads"),
        ('format = 1\nkind = "violn"', "did you mean 'violin'?"),
        ('format = 1\nkind = "harp"', "write one of violin"),
        ("format = 1\nkind = violin", "line 2: cannot be read"),
        (HEAD + "[body]\nlength = 12,5", "12.5 and not 12,5"),
        (HEAD + "[body]\nlength = 355 mm", '"60 mm"'),
        (HEAD + "[body]\nlength = 355\nlength = 356", "twice"),
        (HEAD + "[body", "line 3"),
        (HEAD + '[body]\nlength = """', "ends in the middle"),
        (HEAD + "x = " + "[" * 5000, "nesting"),
        (HEAD + "x = " + "9" * 5000, "too long"),
    ],
)
def test_what_is_no_instrument_file(text: str, says: str) -> None:
    lines = _lines(text)
    assert any(says in line for line in lines), lines
    assert all(line.startswith("my.toml") for line in lines)


def test_all_errors_come_at_once() -> None:
    text = 'format = 1\nkind = "violn"\n[body]\nlenght = 355\nstop = nan\n[bar]\nwidth = -4\n'
    assert len(_lines(text)) == 4


def test_very_many_errors_are_cut_short() -> None:
    lines = _lines(HEAD + "[[strings.string]]\n" * 300)
    assert len(lines) == 41
    assert lines[-1].startswith("my.toml: 560 more problems like these follow")


def test_letters_that_a_terminal_obeys_are_not_shown() -> None:
    for key in ("\\u0007", "\\u001b[31m", "k" * 3000):
        (line,) = _lines(f'{HEAD}[body]\n"{key}" = 1\n')
        assert line.isprintable()
        assert len(line) < 420


def test_a_whole_file_in_inches_asks_for_each_length() -> None:
    lines = _lines(HEAD + "[body]\nlength = 14\nupper_width = 6.6\nlower_width = 8.1\n")
    assert len(lines) == 3
    assert all("is this in inches?" in line for line in lines)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("huge.toml", b"#" * 2_000_001, "more than the 2 MB"),
        ("binary.toml", b"format = 1\n\xff\xfe", "line 2: holds bytes that are no UTF-8"),
        ("zeros.toml", b"\0" * 10, "cannot be read"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(Refused, match=says):
        load_instrument(tmp_path / name)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"my.toml: does not exist; check the name"):
        load_instrument(tmp_path / "my.toml")
    with pytest.raises(Refused, match="is a folder"):
        load_instrument(tmp_path)
    with pytest.raises(Refused, match=r"^\.: is a folder; name the file inside it"):
        load_instrument(Path(""))
    with pytest.raises(Refused, match="cannot be read"):
        load_instrument(tmp_path / ("x" * 5000))


def test_a_mark_at_the_start_and_foreign_line_ends_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_bytes(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode())
    assert load_instrument(tmp_path / "my.toml").instrument.body.length_mm == 320.0


@pytest.mark.parametrize(
    ("body", "key"),
    [
        ("[blocks]\nlining_width = 4\n[top.inside]\nplatform = 5", "lining-off-platform"),
        ("[post]\nx = 160", "post-under-foot"),
        ("[post]\ny = 16", "post-on-bass-side"),
        ("[post]\ny = -2", "post-beside-foot"),
        ("[post]\nx = 175", "post-before-bridge"),
        ("[bar]\nlower_y = 4\nupper_y = 2", "bar-beside-foot"),
        ("[bar]\nlength = 330", "bar-on-block"),
        ("[strings]\nlength = 230", "neck-unusual"),
        ("[bridge]\nbreak_angle = 145", "break-angle"),
        ("[bridge]\nheight = 80", "break-angle"),
        ("[bridge]\nstring_spread = 50", "strings-beyond-feet"),
        ('[guide_holes]\nbit_shape = "brad"', "brad-without-spur"),
        ("[workshop]\nprinted_scale_y = 94", "printer-far-off"),
        ("[top.wood.board]\nmass = 300", "board-incomplete"),
    ],
)
def test_what_is_doubtful_is_told_and_kept(body: str, key: str) -> None:
    found = [f for f in parse_instrument(HEAD + body, "my.toml").findings if f.level == "warning"]
    assert key in [f.key for f in found]
    assert all(f.sentence.endswith(".") and f.where.startswith("my.toml: ") for f in found)


def _refusals(text: str) -> list[str]:
    """The lines of a refusal, none when the text can be read; anything else thrown is a fault."""
    try:
        parse_instrument(text, "my.toml")
    except Refused as refused:
        return [f.line() for f in refused.findings] or [""]
    return []


@pytest.mark.parametrize("kind", ["violin", "narrow-fiddle", "viola"])
def test_a_file_of_defaults_alone_raises_no_doubt(kind: str) -> None:
    findings = parse_instrument(f'format = 1\nkind = "{kind}"', "my.toml").findings
    assert [f.line() for f in findings if f.level != "assumed"] == []


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32))
def test_a_damaged_file_is_read_or_refused_in_sentences(seed: int) -> None:
    chance = random.Random(seed)
    letters = list(EXAMPLE)
    for _ in range(chance.randint(1, 12)):
        at = chance.randrange(len(letters))
        letters[at : at + chance.randint(0, 4)] = chance.choice(
            ["", '"', "[", "]", "=", "-", "nan", "\n", "9", "\x00", "{ value = ", "é", "#", "true"]
        )
    assert all(len(s) > 10 for s in _refusals("".join(letters)))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32))
def test_a_wrong_value_anywhere_is_read_or_refused_in_sentences(seed: int) -> None:
    chance = random.Random(seed)
    lines = EXAMPLE.splitlines()
    settable = [n for n, line in enumerate(lines) if "=" in line and not line.startswith("#")]
    wrong = ["0", "-1", "1e300", "[]", "{}", '"x"', "true", "1979-05-27", "[[1, 2]]", "07:32:00"]
    for at in chance.sample(settable, 3):
        lines[at] = f"{lines[at].split('=')[0]}= {chance.choice(wrong)}"
    text = "\n".join(lines)
    tomllib.loads(text)
    assert all(s.startswith("my.toml") for s in _refusals(text))
