"""Instruments written and read back, whatever their dimensions; in mm and in inches."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.findings import Refused
from graduale.files.instrument import parse_instrument
from graduale.jobs.new import compose

KINDS = ("violin", "viola", "narrow-fiddle")
LENGTHS = {
    "body.length": (250.0, 430.0),
    "body.rib_height": (15.0, 45.0),
    "body.overhang": (1.5, 3.5),
    "top.arch.edge": (2.5, 5.0),
    "back.inside.least": (1.0, 2.8),
    "bar.height": (5.0, 14.0),
    "guide_holes.bit": (2.0, 8.0),
}


def _drawn(data: st.DataObject) -> dict[str, float]:
    keys = data.draw(st.sets(st.sampled_from(sorted(LENGTHS))))
    return {k: round(data.draw(st.floats(*LENGTHS[k])), 3) for k in sorted(keys)}


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.sampled_from(KINDS), st.data())
def test_what_new_writes_is_read_back_as_it_was(kind: str, data: st.DataObject) -> None:
    """Every number, text and choice; what was typed is given, all else assumed or derived."""
    values = _drawn(data)
    loaded, text = compose(kind, {k: repr(v) for k, v in values.items()}, "a.toml")
    again = parse_instrument(text, "a.toml")
    assert again.instrument.body == loaded.instrument.body
    for name in ("top", "back", "bridge", "neck", "soundholes", "bar", "post", "blocks", "drill"):
        assert getattr(again.instrument, name) == getattr(loaded.instrument, name)
    assert again.instrument.strings == loaded.instrument.strings
    given_keys = {k for k, p in again.instrument.known.items() if p.how == "given"}
    assert given_keys == set(values)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.sampled_from(KINDS), st.data())
def test_inches_and_millimetres_mean_the_same(kind: str, data: st.DataObject) -> None:
    """One inch is 25.4 mm (international yard and pound agreement, 1959)."""
    values = _drawn(data)

    def text(units: str, scale: float, mark: str) -> str:
        lines = [f'format = 1\nkind = "{kind}"\nunits = "{units}"']
        for key, value in values.items():
            number = repr(value / scale)
            number = f'"{number}{mark}"' if mark else number
            lines.append(f"{key} = {number}")
        return "\n".join(lines) + "\n"

    plain = parse_instrument(text("mm", 1.0, ""), "a.toml").values
    for other in (text("inch", 25.4, ""), text("mm", 25.4, " in"), text("inch", 1.0, " mm")):
        found = parse_instrument(other, "a.toml").values
        assert found.keys() == plain.keys()
        for key, value in plain.items():
            if isinstance(value, float) and not isinstance(value, bool):
                assert math.isclose(float(found[key]), value, rel_tol=1e-9, abs_tol=0.011), key


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    st.sampled_from(["body", "top.arch", "bridge", "guide_holes", "back.wood.board"]),
    st.text(alphabet="abcdefghijklmnopqrstuvwxyz_-0123456789", min_size=1, max_size=20),
)
def test_an_unknown_key_is_named_wherever_it_stands(table: str, key: str) -> None:
    text = f'format = 1\nkind = "violin"\n[{table}]\n{key}_q = 3\n'
    with pytest.raises(Refused) as refused:
        parse_instrument(text, "a.toml")
    (finding,) = refused.value.findings
    assert finding.where == f"a.toml: {table}.{key}_q"
    assert "not known" in finding.sentence or "does not belong here" in finding.sentence
