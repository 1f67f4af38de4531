"""Verdicts as gauges: our ratio against the reference band and the limit."""

from collections.abc import Callable, Sequence

from graduale.prints import lettering
from graduale.prints.data import Verdict
from graduale.prints.sheet import BLACK, DARK, PALE, Drawing, Item, Path, Text, line, rectangle

Place = Callable[[float], float]
WIDTH_MM, ROW_MM, LEFT_MM, RIGHT_MM, TOP_MM = 186.0, 27.0, 50.0, 14.0, 16.0


def verdict_picture(title: str, verdicts: Sequence[Verdict], most: float | None = None) -> Drawing:
    """One gauge under the other on one common scale from 0; 1 is the average of the reference.

    Pale: the band from the least to the greatest reference; ticks below: the references by name;
    thick upright: the limit; diamond with whisker: ours with its 90 % interval. `most` is the end
    of the scale. Errors: ValueError for no verdicts.
    """
    if not verdicts:
        raise ValueError("no verdicts to draw")
    end = most or 1.1 * max(_reach(v) for v in verdicts)
    whiskers = any(v.spread for v in verdicts)
    top = TOP_MM + (4.4 if whiskers else 0.0)
    height = top + ROW_MM * len(verdicts) + 4.0
    items: list[Item] = [Text(5.0, height - 7.0, title, 11, True)]
    told = "1 = the average reference at the same place; more is worse; left of the limit is safe"
    items.append(Text(5.0, height - 11.8, told, 8.5, colour=DARK))
    if whiskers:
        more = "whisker: nine in ten of what ours may be, strength included; the band scatters too"
        items.append(Text(5.0, height - 16.0, more, 8.5, colour=DARK))
    for k, verdict in enumerate(verdicts):
        v = height - top - ROW_MM * (k + 1) + 13.0
        items += _gauge(verdict, end, v)
    return Drawing(WIDTH_MM, height, tuple(items))


def _reach(v: Verdict) -> float:
    ours = v.ratio + 1.645 * (v.spread or 0.0)
    return max([ours, v.limit, *v.reference.values()])


def _gauge(verdict: Verdict, end: float, v: float) -> list[Item]:
    long = WIDTH_MM - LEFT_MM - RIGHT_MM

    def at(ratio: float) -> float:
        return LEFT_MM + long * min(max(ratio, 0.0), end) / end

    items: list[Item] = [Text(5.0, v + 0.6, verdict.name, 11, True)]
    where = lettering.wrap(verdict.where, LEFT_MM - 9.0, 8.5)
    items += [Text(5.0, v - 3.6 - 3.6 * k, w, 8.5) for k, w in enumerate(where)]
    if verdict.reference:
        band = (min(verdict.reference.values()), max(verdict.reference.values()))
        items.append(rectangle((at(band[0]), v - 2, at(band[1]), v + 2), stroke=None, fill=PALE))
    items.append(line([(LEFT_MM, v), (LEFT_MM + long, v)], 0.25))
    items += _reference_items(verdict, at, v)
    items += _limit_items(verdict, at(verdict.limit), v)
    return items + _ours(verdict, at, v)


def _reference_items(verdict: Verdict, at: Place, v: float) -> list[Item]:
    items: list[Item] = []
    free = -1e9
    for name, ratio in sorted(verdict.reference.items(), key=lambda r: r[1]):
        half = lettering.width_mm(name, 8.5) / 2
        place = max(at(ratio), free + half)
        free = place + half + 1.5
        items.append(line([(at(ratio), v - 2.6), (at(ratio), v + 2.6)], 0.3))
        items.append(line([(at(ratio), v - 2.6), (place, v - 4.4)], 0.13))
        items.append(Text(place, v - 7.4, name, 8.5, anchor="middle"))
        items.append(Text(place, v - 10.8, f"{ratio:.2f}", 8.5, anchor="middle"))
    return items


def _limit_items(verdict: Verdict, u: float, v: float) -> list[Item]:
    words = f"limit {verdict.limit:.2f}"
    return [line([(u, v - 4), (u, v + 5)], 0.9), Text(u + 1.5, v + 3.4, words, 9, True)]


def _ours(verdict: Verdict, at: Place, v: float) -> list[Item]:
    u = at(verdict.ratio)
    items: list[Item] = []
    if verdict.spread:
        low, high = (at(verdict.ratio + s * 1.645 * verdict.spread) for s in (-1, 1))
        ends = tuple(((e, v - 1.1), (e, v + 1.1)) for e in (low, high))
        items += [line([(low, v), (high, v)], 0.6), Path(ends, BLACK, 0.4)]
    diamond = ((u, v - 2.4), (u + 2.4, v), (u, v + 2.4), (u - 2.4, v))
    items.append(Path((diamond,), BLACK, 0.3, closed=True, fill=BLACK))
    return [*items, Text(u, v + 8.0, f"ours {verdict.ratio:.2f}", 10, True, "middle")]
