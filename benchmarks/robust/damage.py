"""Files damaged by a seed: what a slipped key, a wrong program, a bad disk or a stranger may do."""

import random
import re
from collections.abc import Callable, Iterable

MOST_AT_ONCE = 3
ODD = (
    "nan", "-nan", "inf", "-inf", "0", "-0.0", "-1", "1e308", "-1e308", "1e-320", "1e400",
    "9" * 30, "9" * 5000, "0x7fffffffffffffff", "0o17", "0b101", "1_000", "1__0", "007", "+5",
    "true", "false", '""', '"x"', "''", "[]", "[[]]", "[[1, 2]]", "{}", "{ value = 3 }",
    "{ value = nan, spread = -1 }", '{ value = "3 mm", plus_minus = 1, spread = 1 }',
    "{ value = { value = 3 } }", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"3 1/2 in"',
    '"3 1/0 in"', '"60 ± 1 mm"', '"60 ± -1 mm"', '"60 kg"', '"1e400 mm"', '"٣ mm"', '"½ in"',
    '"−5 mm"', '"\\u0000"', '"\\ud800"', '"""\na\nb"""', "'''x'''", "12,5", "12 mm", "1/2",
    "🎻", '"🎻"', "null", "None", "#", "", "=", "[[1, [2, [3, [4]]]]]", "[" * 300,
    '"' + "a" * 3000 + '"', "5e-1", "[1, nan]", "[[nan, 1], [2, inf]]",
)  # fmt: skip
ODD_CELLS = (
    "nan", "inf", "-inf", "1e308", "0", "-3", "3,2", "3.2.1", "3 mm", "3.2mm", '"', '""', '"3"',
    "'3", "=1+1", "٣", "½", "−3", "🎻", "x", "", " ", "9" * 400, "1e3", "0x3", "top", "back",
    "TOP", "tóp", "2026-13-45", "\x00", "\u2028", "\r", "3;2", "\t", "1,000.5", "32", "0.12",
    "#", "1_0",
)  # fmt: skip
_VALUE = re.compile(rb"(?m)^([ \t]*[A-Za-z_.\"]+[ \t]*=[ \t]*)([^\n]+)$")
_NUMBER = re.compile(rb"(?<![A-Za-z_#\d.])-?\d+(?:\.\d+)?")
Damage = Callable[[bytes, random.Random], bytes]


def damaged(raw: bytes, seed: int, *, table: bool) -> bytes:
    """`raw` with one to three kinds of damage; `table` for comma-separated readings."""
    chance = random.Random(seed)
    kinds = (*EITHER, *(IN_TABLES if table else IN_TOML))
    for damage in chance.choices(kinds, k=chance.randint(1, MOST_AT_ONCE)):
        raw = damage(raw, chance)
    return raw


def _flip(raw: bytes, chance: random.Random) -> bytes:
    out = bytearray(raw)
    for _ in range(chance.choice((1, 1, 2, 5, 40))):
        if out:
            out[chance.randrange(len(out))] ^= 1 << chance.randrange(8)
    return bytes(out)


def _letters(raw: bytes, chance: random.Random) -> bytes:
    """Letters put in, taken out, typed over."""
    out = bytearray(raw)
    some = b"\"'[]{}=#,.;-+ \n\t\r\\\x000123456789eEnaifxyz"
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(out) + 1)
        put = bytes(chance.choices(some, k=chance.randint(0, 3)))
        out[at : at + chance.randint(0, 3)] = put
    return bytes(out)


def _cut(raw: bytes, chance: random.Random) -> bytes:
    return raw[: chance.randrange(len(raw) + 1)]


def _headless(raw: bytes, chance: random.Random) -> bytes:
    return raw[chance.randrange(len(raw) + 1) :]


def _empty(raw: bytes, chance: random.Random) -> bytes:
    return chance.choice((b"", b"\n", b" ", b"\xef\xbb\xbf", b"\x00" * 64, b"\n" * 500, b"#"))


def _hole(raw: bytes, chance: random.Random) -> bytes:
    """A stretch of zeros, as a disk leaves it."""
    at = chance.randrange(len(raw) + 1)
    width = chance.choice((1, 16, 512))
    return raw[:at] + b"\x00" * min(width, max(0, len(raw) - at)) + raw[at + width :]


def _lines(change: Callable[[list[bytes], int, random.Random], Iterable[bytes]]) -> Damage:
    def damage(raw: bytes, chance: random.Random) -> bytes:
        lines = raw.split(b"\n")
        return b"\n".join(change(lines, chance.randrange(len(lines)), chance))

    return damage


def _encoding(raw: bytes, chance: random.Random) -> bytes:
    """Saved by another program: byte-order mark, foreign line ends, another alphabet."""
    text = raw.decode("utf-8", "replace")
    forms: tuple[Callable[[], bytes], ...] = (
        lambda: b"\xef\xbb\xbf" + raw,
        lambda: raw.replace(b"\n", b"\r\n"),
        lambda: raw.replace(b"\n", b"\r"),
        lambda: raw.replace(b"\n", b"\r\r\n"),
        lambda: text.encode("utf-16"),
        lambda: text.encode("latin-1", "replace"),
        lambda: text.replace("\n", "\u2028").encode(),
        lambda: text.replace(" ", "\u00a0").encode(),
        lambda: text.replace('"', "\u201c").encode(),
        lambda: text.replace("-", "\u2212").encode(),
    )
    return chance.choice(forms)()


def _comma(raw: bytes, chance: random.Random) -> bytes:
    """Decimal commas, everywhere or on one line."""
    lines = raw.split(b"\n")
    which = range(len(lines)) if chance.random() < 0.3 else [chance.randrange(len(lines))]
    for at in which:
        lines[at] = re.sub(rb"(\d)\.(\d)", rb"\1,\2", lines[at])
    return b"\n".join(lines)


def _scaled(raw: bytes, chance: random.Random) -> bytes:
    """One number mistyped: by ten, by the inch, its sign, a little."""
    found = list(_NUMBER.finditer(raw))
    if not found:
        return raw
    one = chance.choice(found)
    value = float(one[0]) * chance.choice((10, 0.1, 25.4, 1 / 25.4, -1, 0, 1.3, 0.7, 1.05, 0.95))
    return raw[: one.start()] + f"{value:.6g}".encode() + raw[one.end() :]


def _valued(raw: bytes, chance: random.Random) -> bytes:
    """One value replaced by something else."""
    found = list(_VALUE.finditer(raw))
    if not found:
        return raw
    one = chance.choice(found)
    return (
        raw[: one.start(2)] + chance.choice(ODD).encode("utf-8", "surrogatepass") + raw[one.end() :]
    )


def _nested(raw: bytes, chance: random.Random) -> bytes:
    """A table where a value belongs, a value where a table belongs, one inside another."""
    heads = re.findall(rb"(?m)^\[+[\w.]+\]+", raw) or [b"[body]"]
    head = chance.choice(heads)
    name = head.strip(b"[]")
    last = name.rsplit(b".", 1)[-1]
    forms = (
        raw + b"\n" + head + b"\n",
        raw.replace(head, b"[" + head + b"]", 1),
        raw.replace(head, b"[[" + name + b"]]", 1),
        raw.replace(head, b"[x." + name + b"]", 1),
        raw.replace(head, b"[" + name + b".deeper.still]", 1),
        last + b" = 3\n" + raw,
        last + b" = [[1], {}]\n" + raw,
        b"format = { value = 1 }\n" + raw.replace(b"format = 1", b"", 1),
        raw + b"\nx" + b".a" * 400 + b" = 1\n",
        raw + b"\nx = " + b"[" * 200 + b"]" * 200 + b"\n",
        raw + b"\nx = " + b"{a = " * 200 + b"1" + b"}" * 200 + b"\n",
        raw.replace(b" = ", b" = { value = ", 1),
        raw + b"\n[[strings.string]]\n" * chance.choice((1, 3, 300)),
        raw + b"\n[[top.arch.cross_arches]]\nx = 100\npoints = [[0, 9], [10, 5], [20, 3]]\n",
    )
    return chance.choice(forms)


def _keyed(raw: bytes, chance: random.Random) -> bytes:
    """A key misspelled, quoted, doubled, in another alphabet."""
    found = list(re.finditer(rb"(?m)^([A-Za-z_]+)[ \t]*=", raw))
    if not found:
        return raw
    one = chance.choice(found)
    name = one[1]
    at = chance.randrange(len(name))
    forms = (
        name[:at] + name[at + 1 :],
        name[: at + 1] + name[at:],
        name + b"_mm",
        name.upper(),
        b'"' + name + b'"',
        b'""',
        b'"a b"',
        name.replace(b"a", "а".encode()),
        name + b"." + name,
        b"-",
        b'"' + b"k" * 3000 + b'"',
        '"🎻"'.encode(),
        b'"\\u0007"',
    )
    return raw[: one.start(1)] + chance.choice(forms) + raw[one.end(1) :]


def _cell(raw: bytes, chance: random.Random) -> bytes:
    """One cell of a table replaced."""
    lines = raw.split(b"\n")
    at = chance.randrange(len(lines))
    mark = max((b",", b";", b"\t"), key=lines[at].count)
    cells = lines[at].split(mark)
    odd = chance.choice(ODD_CELLS).encode()
    cells[chance.randrange(len(cells))] = odd
    lines[at] = mark.join(cells)
    return b"\n".join(lines)


def _column(raw: bytes, chance: random.Random) -> bytes:
    """A column more, less, twice, in another order; another separator."""
    lines = raw.split(b"\n")
    mark = max((b",", b";", b"\t"), key=raw.count)
    rows = [line.split(mark) for line in lines]
    width = max(len(r) for r in rows)
    a, b = chance.randrange(width), chance.randrange(width)
    form = chance.randrange(6)
    for row in rows:
        if form == 0 and a < len(row):
            del row[a]
        elif form == 1 and a < len(row):
            row.insert(b, row[a])
        elif form == 2 and max(a, b) < len(row):
            row[a], row[b] = row[b], row[a]
        elif form == 3:
            row.append(b"3")
    joined = {4: b";", 5: b"|"}.get(form, mark)
    return b"\n".join(joined.join(row) for row in rows)


def _many(raw: bytes, chance: random.Random) -> bytes:
    """Very many lines, or one very long."""
    lines = raw.split(b"\n")
    line = chance.choice(lines)
    forms = (raw + (b"\n" + line) * 30_000, raw + b"\n" + line * 3000, raw + b"," * 100_000)
    return chance.choice(forms) if chance.random() < 0.05 else raw + (b"\n" + line) * 50


EITHER: tuple[Damage, ...] = (
    _flip, _flip, _letters, _letters, _cut, _headless, _hole, _encoding, _comma, _scaled, _scaled,
    _lines(lambda x, i, c: x[:i] + x[i + c.choice((1, 1, 3)) :]),
    _lines(lambda x, i, c: x[: i + 1] * 1 + x[i:]),
    _lines(lambda x, i, c: [*x[:i], *c.sample(x[i : i + 4], len(x[i : i + 4])), *x[i + 4 :]]),
    _lines(lambda x, i, c: [*x[:i], b"".join(x[i : i + 2]), *x[i + 2 :]]),
    _lines(lambda x, i, c: c.sample(x, len(x)) if c.random() < 0.3 else [*x, x[i]]),
)  # fmt: skip
IN_TOML: tuple[Damage, ...] = (_valued, _valued, _valued, _valued, _nested, _nested, _keyed, _keyed)
IN_TABLES: tuple[Damage, ...] = (_cell, _cell, _cell, _cell, _column, _column, _many)
RARE: tuple[Damage, ...] = (_empty,)
