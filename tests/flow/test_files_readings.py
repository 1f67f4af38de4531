"""Caliper readings as CSV: what is read, what is doubted, what is refused."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.findings import Refused
from graduale.files.readings import Readings, load_readings, parse_readings

HEAD = "plate,x_mm,y_mm,thickness_mm\n"


def _read(text: str) -> Readings:
    return parse_readings(text, "r.csv")


def _lines(text: str) -> list[str]:
    with pytest.raises(Refused) as caught:
        _read(text)
    return [f.line() for f in caught.value.findings]


def test_a_plain_table() -> None:
    r = _read(
        "plate,x_mm,y_mm,thickness_mm,stage,when,note\n"
        "# the back came first\n"
        "top,150,-12.5,3.2,holes_cut,2026-11-20,near the eye\n"
        "\n"
        "Back, 90, 0, 4.05 mm\n"
    )
    assert r.plate == ("top", "back")
    assert np.array_equal(r.x_mm, [150.0, 90.0])
    assert np.array_equal(r.y_mm, [-12.5, 0.0])
    assert np.array_equal(r.t_mm, [3.2, 4.05])
    assert r.stage == ("holes_cut", "")
    assert r.when == ("2026-11-20", "")
    assert r.note == ("near the eye", "")
    assert r.findings == ()
    with pytest.raises(ValueError, match="read-only"):
        r.t_mm[0] = 1.0


@pytest.mark.parametrize("mark", [";", "\t"])
def test_decimal_commas_with_another_separator(mark: str) -> None:
    head = HEAD.replace(",", mark)
    r = _read(f"{head}top{mark}150,5{mark}0{mark}2,53\ntop{mark}1{mark}0{mark}+002.53\n")
    assert np.array_equal(r.t_mm, [2.53, 2.53])
    assert r.x_mm[0] == 150.5


def test_columns_in_any_order_and_a_note_with_a_comma() -> None:
    r = _read('note,thickness_mm,Y_mm,x mm,plate\n"soft, dark",3,1,2,back\n')
    assert (r.note, r.plate, float(r.x_mm[0]), float(r.y_mm[0])) == (
        ("soft, dark",),
        ("back",),
        2,
        1,
    )


def test_a_slipped_point_is_kept_and_flagged() -> None:
    rows = "".join(f"top,{x},0,3.{x % 7}\n" for x in range(20, 120, 10))
    r = _read(f"{HEAD}{rows}top,130,0,32\ntop,140,0,0.9\n")
    assert r.doubtful == (False,) * 10 + (True, True)
    told = [f.line() for f in r.findings]
    assert told[0].startswith("r.csv: line 12: 32 mm is doubtful")
    assert told[0].endswith("was it 3.2? measure again, or take the line out.")
    assert told[1].startswith("r.csv: line 13: 0.9 mm is doubtful")
    assert {f.level for f in r.findings} == {"warning"}


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("top,150,0,thin", 'line 2: thickness_mm "thin" is no number'),
        ("top,150,0,", "line 2: thickness_mm is empty"),
        ("top,150,0", "line 2: thickness_mm is empty"),
        ("top,150,0,nan", "is no number"),
        ("top,150,0,inf", "is no number"),
        ("top,150,0,1e3", "is no number"),
        ("top,150,0,-3", "a thickness of -3 mm cannot be"),
        ("top,150,0,0", "a thickness of 0 mm cannot be"),
        ("top,150,0,320", "did you mean 3.2 mm"),
        ("top,150,0,0.12", "did you mean 1.2 mm"),
        ("belly,150,0,3", "write top or back"),
        (",150,0,3", "write top or back"),
        ("top,1x0,0,3", 'x_mm "1x0" is no number'),
        ("top,9999,0,3", "x_mm 9999 lies off any plate"),
        ("top,150,0,3,2", "write decimals with a point"),
    ],
)
def test_one_bad_row_is_one_sentence_with_its_line(row: str, says: str) -> None:
    lines = _lines(HEAD + row + "\n")
    assert len(lines) == 1
    assert says in lines[0]
    assert lines[0].startswith("r.csv: line 2: ")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("\n\n", "is empty"),
        (HEAD, "holds a header and no reading"),
        ("plate,x_mm,y_mm\n", "the column thickness_mm is missing"),
        ("plate,x_mm,y_mm,thicknes_mm\n", "did you mean 'thickness_mm'?"),
        ("plate,x_mm,x_mm,y_mm,thickness_mm\n", "stands twice"),
        ("top,150,0,3.2\n", "the column 'top' is not known"),
        (HEAD + "top,1,1,3\n" * 20001, "at most 20000"),
    ],
)
def test_what_is_no_table_of_readings(text: str, says: str) -> None:
    lines = _lines(text)
    assert any(says in line for line in lines), lines


def test_all_bad_rows_come_at_once() -> None:
    assert len(_lines(HEAD + "top,1,1,x\nmiddle,1,1,3\ntop,1,1,3\ntop,,1,0\n")) == 3


def test_from_disk(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_bytes(
        b"\xef\xbb\xbf" + HEAD.replace("\n", "\r\n").encode() + b"top,1,2,3"
    )
    assert load_readings(tmp_path / "r.csv").t_mm[0] == 3.0
    with pytest.raises(Refused, match=r"none.csv: does not exist"):
        load_readings(tmp_path / "none.csv")


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet='topback,;.\n\t"#0123456789-x_ \0é', max_size=80))
def test_anything_is_read_or_refused(text: str) -> None:
    try:
        r = _read(HEAD + text)
    except Refused as refused:
        lines = [f.line() for f in refused.findings]
    else:
        lines = ["r.csv"]
        assert np.all((r.t_mm >= 0.3) & (r.t_mm <= 40.0))
    assert lines
    assert all(line.startswith("r.csv") for line in lines)
