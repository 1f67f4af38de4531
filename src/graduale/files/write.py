"""Writing an instrument file: what is known as values, what is assumed as commented lines.

A commented line changes nothing; a maker who has measured takes the mark away and corrects the
number. So a file never claims to know what was only assumed.
"""

from collections.abc import Mapping

from graduale.records.instrument import Instrument, Provenance, String

HEAD = """\
# Instrument file of {name}.
# Lengths in mm unless they carry a unit: "12.6 in". A value may be a table with doubt and source:
#   length = {{ value = 320, plus_minus = 1, source = "catalogue", how = "published" }}
#   how is one of measured, published, photo, given, assumed; spread = one standard deviation,
#   plus_minus = surely within.
# Lines that begin with '#' and end with 'assumed' are defaults of the kind: they are used, and
# shown as assumed, until you take the '#' away and write your own number. 'derived' follows from
# the values above it.
"""

# In the order of the job. Keys of the file; what is not listed here is written by `new` as given.
SECTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "body",
        (
            "length", "upper_width", "waist_width", "lower_width", "upper_at", "waist_at",
            "lower_at", "upper_corner_at", "lower_corner_at", "upper_corner_width",
            "lower_corner_width", "rib_height_upper", "rib_height_lower", "rib_thickness",
            "overhang", "stop",
        ),
    ),
    ("top.arch", ("crown", "edge", "channel", "channel_at")),
    ("top.inside", ("platform", "platform_end", "least", "least_channel")),
    ("top.wood", ("species", "ring_angle", "runout", "one_piece")),
    ("back.arch", ("crown", "edge", "channel", "channel_at")),
    ("back.inside", ("platform", "platform_end", "least", "least_channel")),
    ("back.wood", ("species", "ring_angle", "runout", "one_piece")),
    ("ribs.wood", ("species",)),
    (
        "bridge",
        (
            "height", "crown_radius", "string_spread", "bass_foot_y", "treble_foot_y",
            "foot_length", "foot_width",
        ),
    ),
    ("neck", ("overstand", "nut_height", "nut_spread", "saddle_height")),
    (
        "soundholes",
        (
            "present", "length", "upper_eye", "lower_eye", "upper_eye_gap", "lower_eye_edge",
            "width", "notch_x",
        ),
    ),
    (
        "bar",
        (
            "present", "length", "width", "height", "end_height", "lower_end_x", "lower_y",
            "upper_y", "species",
        ),
    ),
    ("post", ("present", "diameter", "x", "y", "species")),
    (
        "blocks",
        (
            "end_depth", "end_width", "corner_depth", "lining_width", "lining_height",
            "block_species", "lining_species",
        ),
    ),
    (
        "guide_holes",
        (
            "method", "hold", "bit_shape", "bit", "spur", "rest_radius", "step", "spacing_along",
            "spacing_across", "max_level_slope", "outside_scrape",
        ),
    ),
    ("workshop", ("paper", "sheet_units", "printed_scale_x", "printed_scale_y", "caliper_spread")),
    ("strings", ("pitch", "length")),
)  # fmt: skip


def instrument_toml(
    instrument: Instrument,
    values: Mapping[str, float | str | bool],
    written: Mapping[str, str],
) -> str:
    """The file's text.

    `values` holds every filled-in value by dotted key; `written` the maker's own as he typed them
    (TOML already). Keys in `written` become values, all others commented lines with their source.
    """
    lines = [HEAD.format(name=instrument.name), "format = 1", f"name = {quoted(instrument.name)}"]
    lines.append(f"kind = {quoted(instrument.kind)}")
    lines += [_line("left_handed", written["left_handed"])] if "left_handed" in written else []
    for key in ("margin", "confidence"):
        lines.append(_entry(key, key, instrument, values, written))
    for section, names in SECTIONS:
        own = _own(section, names, written)
        lines += ["", f"[{section}]"]
        lines += [_entry(n, f"{section}.{n}", instrument, values, written) for n in (*names, *own)]
    lines += _strings(instrument)
    return "\n".join(lines) + "\n"


def _own(section: str, names: tuple[str, ...], written: Mapping[str, str]) -> list[str]:
    """Keys of `section` that the maker wrote and that the list does not hold."""
    start = f"{section}."
    below = {s for s, _ in SECTIONS if s.startswith(start)}
    return [
        key.removeprefix(start)
        for key in written
        if key.startswith(start)
        and key.removeprefix(start) not in names
        and not any(key.startswith(f"{s}.") for s in below)
    ]


def _entry(
    name: str,
    key: str,
    instrument: Instrument,
    values: Mapping[str, float | str | bool],
    written: Mapping[str, str],
) -> str:
    if key in written:
        return _line(name, written[key])
    known = instrument.known.get(key)
    remark = _remark(known)
    return f"# {_line(name, literal(values[key]))}  # {remark}"


def _remark(known: Provenance | None) -> str:
    """How a value came about; the mark 'assumed' stands last, as the head of the file says."""
    if known is None:
        return "not in use: assumed"
    return f"{known.source}: {known.how}"


def _strings(instrument: Instrument) -> list[str]:
    known = instrument.known.get("strings.string")
    mark = "" if known is None else "# "
    lines = [""] if known is None else ["", f"# The set of strings. {known.source}: assumed"]
    for string in instrument.strings.strings:
        lines += [f"{mark}[[strings.string]]", *(mark + row for row in _string(string)), ""]
    return lines[:-1]


def _string(string: String) -> list[str]:
    rows = [_line("note", quoted(string.note)), _line("material", quoted(string.material))]
    for name, value in (
        ("gauge", string.gauge_mm),
        ("mass_per_length", string.mass_per_length_g_m),
        ("tension", string.tension_n),
    ):
        if value is not None:
            rows.append(_line(name, literal(value)))
    return rows


def _line(name: str, text: str) -> str:
    return f"{name} = {text}"


def literal(value: float | str | bool) -> str:
    """A value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return quoted(value) if isinstance(value, str) else f"{value:.10g}"


def quoted(text: str) -> str:
    """A text as a TOML string."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else " " for c in plain) + '"'
