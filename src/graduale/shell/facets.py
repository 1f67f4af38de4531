"""Flat facets in space: their own axes, plane corners, areas, shape gradients."""

import numpy as np

from graduale.base.arrays import Floats, Ints


def triads_of(nodes: Floats, triangles: Ints, toward: Floats | None = None) -> Floats:
    """Axes (m, 3, 3), rows e1, e2, n. e1 lies along `toward` (3,) laid into the facet, or side 12.

    n follows the corner order (right-handed). `toward` may be (3,) or (m, 3).
    """
    a, b, c = (nodes[triangles[:, i]] for i in range(3))
    normal = _unit(np.cross(b - a, c - a))
    guide = b - a if toward is None else np.broadcast_to(toward, a.shape)
    e1 = _unit(guide - np.einsum("mi,mi->m", guide, normal)[:, None] * normal)
    return np.stack([e1, np.cross(normal, e1), normal], axis=1)


def corners_of(nodes: Floats, triangles: Ints, triads: Floats) -> Floats:
    """Corner positions in the facet's own plane, (m, 3, 2), origin at the first corner."""
    corners = nodes[triangles]
    out: Floats = np.einsum("mai,mci->mca", triads[:, :2], corners - corners[:, :1])
    return out


def area(xy: Floats) -> Floats:
    """Signed areas (m,) of triangles (m, 3, 2), positive counter-clockwise."""
    a, b = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    out: Floats = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return out


def shape_gradients(xy: Floats) -> Floats:
    """d N_i / d(x, y) of the linear triangle, (m, 3, 2)."""
    twice = 2.0 * area(xy)
    grad = np.empty_like(xy)
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        grad[:, i, 0] = (xy[:, j, 1] - xy[:, k, 1]) / twice
        grad[:, i, 1] = (xy[:, k, 0] - xy[:, j, 0]) / twice
    return grad


def _unit(vectors: Floats) -> Floats:
    out: Floats = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    return out
