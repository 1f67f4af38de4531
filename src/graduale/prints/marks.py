"""Marks of the guide holes: a cross-hair through a sign that tells the group without colour."""

from math import cos, pi, sin

from graduale.prints.sheet import BLACK, WHITE, Circle, Item, Path

SIGN_MM = 1.5  # half size of a sign
ARM_MM = 2.3  # half length of the cross-hair
NAMES = ("circle", "square", "triangle", "diamond", "wedge", "brick")


def hole_mark(
    u: float, v: float, order: int, tag: str = "mark", scale: float = 1.0
) -> tuple[Item, ...]:
    """The mark of the `order`-th group (0 first): six open shapes, then the same shapes filled with
    the cross-hair left white, with a filled middle, with a second ring. After 24 they begin anew.
    """
    shape, style = order % len(NAMES), (order // len(NAMES)) % 4
    solid = style == 1
    size = SIGN_MM * scale
    fill = BLACK if solid else WHITE
    items: list[Item] = [_sign(u, v, shape, size, fill, tag)]
    if style == 3:
        items.append(_sign(u, v, shape, size * 0.58, None, tag, 0.18))
    if style == 2:
        items.append(_sign(u, v, shape, size * 0.5, BLACK, tag))
    return (*items, *_cross(u, v, solid, tag, scale))


def _cross(u: float, v: float, white_inside: bool, tag: str, scale: float) -> tuple[Item, ...]:
    arm = ARM_MM * scale
    arms = (((u - arm, v), (u + arm, v)), ((u, v - arm), (u, v + arm)))
    full = Path(arms, BLACK, 0.13, tag=tag)
    if not white_inside:
        return (full,)
    r = SIGN_MM * scale * 0.9
    inner = (((u - r, v), (u + r, v)), ((u, v - r), (u, v + r)))
    return (full, Path(inner, WHITE, 0.18, tag=tag))


def _sign(
    u: float, v: float, shape: int, size: float, fill: str | None, tag: str, width: float = 0.25
) -> Item:
    if shape == 0:
        return Circle(u, v, size, BLACK, width, fill, tag)
    if shape == 5:
        a, b = size * 1.45, size * 0.75
        brick = ((u - a, v - b), (u + a, v - b), (u + a, v + b), (u - a, v + b))
        return Path((brick,), BLACK, width, closed=True, fill=fill, tag=tag)
    count, start, grow = {
        1: (4, 45.0, 1.25),
        2: (3, 90.0, 1.4),
        3: (4, 90.0, 1.3),
        4: (3, 270.0, 1.4),
    }[shape]
    turn = [start * pi / 180 + 2 * pi * k / count for k in range(count)]
    corners = tuple((u + grow * size * cos(t), v + grow * size * sin(t)) for t in turn)
    return Path((corners,), BLACK, width, closed=True, fill=fill, tag=tag)
