"""Pydantic's errors and TOML's errors as findings: file, dotted key, one sentence with the mend."""

import difflib
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from graduale.base.findings import Finding
from graduale.files.quantity import printable, shown

MOST_TOLD = 40  # problems of one file at once


def error(key: str, name: str, place: str, sentence: str) -> Finding:
    """One error at `place` (dotted key or 'line 3') of the file `name`."""
    where = f"{name}: {place}" if place else name
    return Finding("error", key, where, _ended(sentence))


def dotted(loc: tuple[int | str, ...]) -> str:
    """('strings', 'string', 0, 'gauge') as 'strings.string[1].gauge' (counted from one)."""
    out = ""
    for part in loc:
        if isinstance(part, int):
            out += f"[{part + 1}]"
        else:
            out += ("." if out else "") + (printable(part) or '""')
    return out


def first_of(errors: list[Finding], name: str) -> list[Finding]:
    """The errors, or the first of very many and how many more there are."""
    more = len(errors) - MOST_TOLD
    if more <= 0:
        return errors
    sentence = f"{more} more problems like these follow; mend the first ones and look again."
    return [*errors[:MOST_TOLD], error("and-more", name, "", sentence)]


def findings_of(wrong: ValidationError, name: str, model: type[BaseModel]) -> list[Finding]:
    """Every error of one validation as a finding."""
    return [_finding(e, name, model) for e in wrong.errors(include_url=False)]


def _finding(detail: Mapping[str, Any], name: str, model: type[BaseModel]) -> Finding:
    place = dotted(detail["loc"])
    kind = str(detail["type"])
    if kind == "sentence":
        return error("bad-value", name, place, str(detail["ctx"]["sentence"]))
    if kind == "extra_forbidden":
        return error("unknown-key", name, place, _unknown(detail["loc"], model))
    if kind == "missing":
        return error("missing-key", name, place, _missing(place))
    if kind == "literal_error":
        expected = str(detail["ctx"]["expected"]).replace("'", '"')
        return error("bad-value", name, place, _literal(place, detail["input"], expected))
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        sentence = f"{shown(detail['input'])} stands where a table belongs; write [{place}]"
        return error("not-a-table", name, place, sentence + " and its keys below")
    if kind == "list_type":
        sentence = f"{shown(detail['input'])} stands where several tables belong; write [["
        return error("not-a-list", name, place, sentence + place + "]] once for each")
    sentence = f"{shown(detail['input'])} cannot be read here; see the instrument-file page"
    return error("bad-value", name, place, sentence)


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "?")) else sentence + "."


def _missing(place: str) -> str:
    if place == "format":
        return "the format version is missing; write format = 1 at the top."
    if place == "kind":
        return 'the kind of body is missing; write for example kind = "violin" at the top.'
    return "is missing; write it."


def _literal(place: str, raw: Any, expected: str) -> str:
    if place == "format":
        return f"{shown(raw)} is no format this program reads; write format = 1."
    return f"{shown(raw)} is not known here; write {expected}."


def _unknown(loc: tuple[int | str, ...], model: type[BaseModel]) -> str:
    names = keys_at(loc[:-1], model)
    wrong = str(loc[-1])
    near = nearest(wrong, names)
    home = "" if nearest(wrong, names, 0.85) else _home(wrong, model)
    if near and not home:
        return f"the key '{shown(wrong)[1:-1]}' is not known; did you mean '{near}'?"
    if home:
        return f"the key '{shown(wrong)[1:-1]}' does not belong here; '{home}' is its place."
    return f"the key '{shown(wrong)[1:-1]}' is not known; known here: {', '.join(names)}."


def _home(wrong: str, model: type[BaseModel]) -> str:
    """The dotted key elsewhere in the file that ends like `wrong`; an empty text when none does."""
    everywhere = all_keys(model)
    last = {k: k.rsplit(".", 1)[-1] for k in everywhere}
    other = nearest(wrong, tuple(last.values()), 0.85)
    return next((k for k in everywhere if other and last[k] == other), "")


def nearest(word: str, names: tuple[str, ...], cutoff: float = 0.6) -> str:
    """The most similar name, or an empty text."""
    plain = {n.lower(): n for n in names}
    tried = word.lower().replace("-", "_")
    if tried.endswith("_mm") and tried[:-3] in plain:
        return plain[tried[:-3]]
    found = difflib.get_close_matches(tried[:60], list(plain), 1, cutoff)
    return plain[found[0]] if found else ""


def keys_at(loc: tuple[int | str, ...], model: type[BaseModel]) -> tuple[str, ...]:
    """The keys known in the table at `loc`."""
    here = model
    for part in loc:
        inner = None if isinstance(part, int) else table_of(here, part)
        here = inner or here
    return tuple(here.model_fields)


def table_of(model: type[BaseModel], name: str) -> type[BaseModel] | None:
    """The model of the table or of the list of tables at `name`; None when it is a plain value."""
    return _inside(model.model_fields[name].annotation) if name in model.model_fields else None


def _inside(kind: Any) -> type[BaseModel] | None:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    for part in getattr(kind, "__args__", ()):
        found = _inside(part)
        if found is not None:
            return found
    return None


def all_keys(model: type[BaseModel], before: str = "") -> tuple[str, ...]:
    """Every dotted key of the file, lists of tables without their number."""
    out: list[str] = []
    for name in model.model_fields:
        inner = table_of(model, name)
        out += all_keys(inner, f"{before}{name}.") if inner else [before + name]
    return tuple(out)


TWICE = "this key or table stands in the file twice; keep one"
_AT = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)")


def toml_finding(wrong: tomllib.TOMLDecodeError, text: str, name: str) -> Finding:
    """A text that is no TOML: the line, what is wrong there, the mend."""
    found = _AT.search(str(wrong))
    reason = _AT.sub("", str(wrong)).strip().rstrip(".")
    lines = text.splitlines()
    if found is None or found[1] is None:
        at = max(len(lines), 1)
        mend = "the file ends in the middle of something; close its quotation mark or bracket"
        mend = TWICE if "overwrite" in reason else mend
    else:
        at = int(found[1])
        mend = _mend(lines[at - 1] if at <= len(lines) else "", reason)
    return error("not-toml", name, f"line {at}", f"cannot be read ({_plain(reason)}); {mend}.")


def _plain(reason: str) -> str:
    return "".join(c if c.isprintable() else "·" for c in reason)[:120]


def _mend(line: str, reason: str) -> str:
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return "write decimals with a point, 12.5 and not 12,5"
    if "overwrite" in reason or "twice" in reason or "redefine" in reason.lower():
        return TWICE
    if re.search(r"=\s*[+-]?[\d.]+\s*(mm|in|cm|\"|°|Hz)", line):
        return 'a number with its unit stands in quotation marks, "60 mm"'
    if re.search(r"=\s*[A-Za-z]", line):
        return "text stands in quotation marks"
    if "=" not in line and not line.lstrip().startswith(("[", "#")):
        return "write key = value, or start a remark with #"
    return "write one key = value a line, text in quotation marks, tables as [name]"
