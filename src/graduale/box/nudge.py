"""The same box with one thing a little different: wood, heights, widths, bar, set-up.

The mesh keeps its facets and nodes their places *on the body*: a nudge moves them with it. So two
boxes can be told apart to first order without mesh noise. Spots, feet and post move with the body
when it is stretched. Soundholes and the place of post and bridge are not nudged.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats
from graduale.box import parts
from graduale.box.build import Box, with_post
from graduale.box.plate import PlateShell
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.beams import Beams
from graduale.shell.facets import triads_of
from graduale.shell.model import Links, Shell
from graduale.shell.structure import Structure
from graduale.wood.material import Wood, facet_coupling, facet_stiffness

PLATES: tuple[PlateName, PlateName] = ("top", "back")
_X = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True)
class Move:
    """Small changes of shape: relative stretch along, and across at lower bout, waist, upper bout;
    rise of the crown and of the edge of each plate, of the ribs (lower, upper end), mm."""

    along: float = 0.0
    across: tuple[float, float, float] = (0.0, 0.0, 0.0)
    crown_mm: Mapping[PlateName, float] = field(default_factory=dict)
    edge_mm: Mapping[PlateName, float] = field(default_factory=dict)
    ribs_mm: float = 0.0


def moved_points(inst: Instrument, move: Move, xyz: Floats) -> Floats:
    """Points (n, 3) after the stretch in plan; z untouched."""
    b = inst.body
    wide = np.interp(xyz[:, 0], (b.lower_at_mm, b.waist_at_mm, b.upper_at_mm), move.across)
    return np.column_stack([xyz[:, 0] * (1.0 + move.along), xyz[:, 1] * (1.0 + wide), xyz[:, 2]])


def risen(inst: Instrument, move: Move, which: PlateName, height_mm: Floats) -> Floats:
    """What the outside gains (n,) where it now stands `height_mm` above its gluing plane."""
    arch = inst.plate(which).arch
    share = np.clip((height_mm - arch.edge_mm) / (arch.crown_mm - arch.edge_mm), 0.0, 1.0)
    crown, edge = move.crown_mm.get(which, 0.0), move.edge_mm.get(which, 0.0)
    out: Floats = share * crown + (1.0 - share) * edge
    return out


def moved_plate(
    inst: Instrument, plate: PlateShell, move: Move, lift_mm: float = 0.0
) -> PlateShell:
    """One plate after a change of shape. lift_mm: what its gluing plane rises."""
    body = plate.body
    nodes = moved_points(inst, move, plate.nodes)
    height = body.arching.height(plate.mesh.xy)
    nodes[:, 2] += lift_mm + body.outward * risen(inst, move, body.which, height)
    triads = triads_of(nodes, plate.triangles, _X)
    q_mpa, h_mpa = facet_stiffness(body.wood, plate.axes, triads)
    couple = facet_coupling(body.wood, plate.axes, triads)
    return replace(plate, nodes=nodes, triads=triads, q_mpa=q_mpa, h_mpa=h_mpa, couple=couple)


def moved_box(box: Box, move: Move) -> Box:
    """The box after a change of shape. Its instrument, plan and arching stay those of the old
    one, so that patches, feet and spots are found on the same facets."""
    old, inst = box.shell, box.instrument
    nodes = moved_points(inst, move, old.nodes)
    lift = move.ribs_mm
    plates: dict[PlateName, PlateShell] = {}
    for which in PLATES:
        plate = box.plates[which]
        plates[which] = moved_plate(inst, plate, move, lift if which == "top" else 0.0)
        first = box.first_node(which)
        nodes[first : first + len(plate.nodes)] = plates[which].nodes
    first = sum(len(box.plates[w].nodes) for w in PLATES)
    tall = parts.rib_height(inst, old.nodes[first:, 0])
    nodes[first:, 2] *= (tall + lift) / tall
    links = Links(old.links.master, nodes - nodes[old.links.master])
    sizes = sum(len(box.plates[w].triangles) for w in PLATES)
    ribs = triads_of(nodes, old.triangles[sizes:], _along(old, sizes))
    shell = replace(
        old,
        nodes=nodes,
        triads=np.concatenate([plates["top"].triads, plates["back"].triads, ribs]),
        q_mpa=np.concatenate([plates["top"].q_mpa, plates["back"].q_mpa, old.q_mpa[sizes:]]),
        h_mpa=np.concatenate([plates["top"].h_mpa, plates["back"].h_mpa, old.h_mpa[sizes:]]),
        links=links,
        couple=_couple(old, 0, np.concatenate([plates["top"].couple, plates["back"].couple])),
    )
    shell.__dict__["pattern"] = old.pattern
    bare = replace(
        box,
        plates=plates,
        structure=replace(
            box.structure,
            shell=shell,
            beams=_beams(box, plates, nodes, links),
            glued=box.joints.stiffness(nodes),
        ),
    )
    return _post_again(box, bare)


def _couple(old: Shell, first: int, new: Floats) -> Floats:
    """The coupling of shear and stretch (m, 3, 2), from facet `first` on that of `new`."""
    out = np.zeros((len(old.triangles), 3, 2)) if old.couple is None else old.couple.copy()
    out[first : first + len(new)] = new
    return out


def _along(shell: Shell, first: int) -> Floats:
    """Direction of the first axis of the rib facets (m, 3), as it was."""
    out: Floats = shell.triads[first:, 0]
    return out


def _beams(
    box: Box, plates: Mapping[PlateName, PlateShell], nodes: Floats, links: Links
) -> tuple[Beams, ...]:
    bar = box.instrument.bar
    if not bar.present:
        return ()
    return (parts.bar_beams(bar, plates["top"], box.meshed["top"].bar, nodes, links),)


def _post_again(box: Box, moved: Box) -> Box:
    """The post along the line between its ends, which moved."""
    if box.post_rows is None:
        return moved
    bare = replace(moved.structure, spring_rows=None, spring_n_mm=None)
    return with_post(replace(moved, structure=bare, post_rows=None))


def with_wood(plate: PlateShell, wood: Wood, axes: Floats | None = None) -> PlateShell:
    """The plate of another wood, or with its board turned (axes (m, 3, 3))."""
    turned = plate.axes if axes is None else axes
    q_mpa, h_mpa = facet_stiffness(wood, turned, plate.triads)
    body = replace(plate.body, wood=wood)
    couple = facet_coupling(wood, turned, plate.triads)
    return replace(plate, body=body, axes=turned, q_mpa=q_mpa, h_mpa=h_mpa, couple=couple)


def with_plate(box: Box, which: PlateName, plate: PlateShell) -> Box:
    """The box with one plate of another wood (same places)."""
    old = box.shell
    first = box.first_facet(which)
    some = slice(first, first + len(plate.triangles))
    q_mpa, h_mpa = old.q_mpa.copy(), old.h_mpa.copy()
    q_mpa[some], h_mpa[some] = plate.q_mpa, plate.h_mpa
    shell = old.of_wood(q_mpa, h_mpa, old.density, _couple(old, first, plate.couple))
    return _with_shell(box, shell, {which: plate})


def with_ribs(box: Box, stiff: float = 1.0, rib_mm: float = 0.0) -> Box:
    """The box with ribs of other stiffness (a factor, linings too) or thickness (mm more)."""
    old, first = box.shell, sum(len(box.plates[w].triangles) for w in PLATES)
    q_mpa, h_mpa = old.q_mpa.copy(), old.h_mpa.copy()
    q_mpa[first:] *= stiff
    h_mpa[first:] *= stiff
    linings = 4 * len(box.ribs_line) if box.instrument.blocks.lining_width_mm > 0.0 else 0
    fixed = box.structure.fixed.copy()
    fixed[: len(fixed) - linings] += rib_mm
    made = _with_shell(box, old.of_wood(q_mpa, h_mpa, old.density, old.couple), {})
    return replace(made, structure=replace(made.structure, fixed=fixed))


def with_bar(box: Box, instrument: Instrument, stiff: float = 1.0) -> Box:
    """The box with another bar: the bar of `instrument`, its wood stiffer by a factor."""
    line, shell = box.meshed["top"].bar, box.shell
    beam = parts.bar_beams(instrument.bar, box.plates["top"], line, shell.nodes, shell.links)
    beam = replace(beam, e_mpa=beam.e_mpa * stiff, g_mpa=beam.g_mpa * stiff)
    return replace(box, structure=replace(box.structure, beams=(beam,)))


def with_post_stiffness(box: Box, factor: float) -> Box:
    """The box with a stiffer post."""
    spring = box.structure.spring_n_mm
    assert spring is not None
    return replace(box, structure=replace(box.structure, spring_n_mm=spring * factor))


def _with_shell(box: Box, shell: Shell, plates: Mapping[PlateName, PlateShell]) -> Box:
    structure: Structure = replace(box.structure, shell=shell)
    return replace(box, structure=structure, plates={**box.plates, **plates})


def stiffness_change(
    box: Box, other: Box, t_nodes: Floats, base: Floats, facets: "slice | None" = None
) -> "sp.csc_matrix":
    """K(other) - K(box) at nodal thickness; base: facet stiffness of `box` (m, 18, 18); facets: the
    only ones that differ."""
    some = facets if facets is not None else slice(None)
    t_facet = other.structure.facet_thickness(t_nodes)
    change = other.shell.only(some).facet_stiffness(t_facet[some]) - base[some]
    pattern = box.shell.pattern
    place = pattern.place.reshape(len(base), -1)[some]
    data = np.bincount(place.ravel(), weights=change.ravel(), minlength=len(pattern.indices))
    out = sp.csc_matrix((data, pattern.indices, pattern.indptr), shape=(box.shell.size,) * 2)
    for new, old in zip(other.structure.beams, box.structure.beams, strict=True):
        if new is not old:
            under = t_nodes[new.pairs].mean(axis=1)
            out = out + new.stiffness(under) - old.stiffness(under)
    new_glue, old_glue = other.structure.glued, box.structure.glued
    if new_glue is not None and old_glue is not None and new_glue is not old_glue:
        out = out + new_glue - old_glue
    return sp.csc_matrix(out + _spring(other) - _spring(box))


def _spring(box: Box) -> "sp.csc_matrix":
    rows, stiff = box.structure.spring_rows, box.structure.spring_n_mm
    if rows is None or stiff is None:
        return sp.csc_matrix((box.shell.size, box.shell.size))
    return sp.csc_matrix(rows.T @ sp.diags_array(stiff) @ rows)
