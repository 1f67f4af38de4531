"""Maps that a maker might carry over instead of deciding: a violin's by rule, a school's by shape.

All are zone values (4,) mm of `thickness/field`; nothing here is safe or unsafe, the box judges.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.box.plate import PlateBody
from graduale.box.tones import FreePlate
from graduale.records.instrument import Instrument
from graduale.thickness.field import Layout
from graduale.wood.rotate import across_modulus

_WIDEST_FACTOR = (0.2, 5.0)


@dataclass(frozen=True)
class Strip:
    """A plate taken flat and bare across: free span mm between the ribs, modulus across MPa."""

    span_mm: float
    e_across_mpa: float


def as_it_is(layout: Layout) -> Layout:
    """A layout that imposes no least thickness and no steepest change on a map carried over."""
    return replace(layout, least_mm=0.0, least_channel_mm=0.0, steepest=np.inf)


def strips(instrument: Instrument, body: PlateBody) -> tuple[Strip, Strip, Strip]:
    """Strips at the bridge, the upper and the lower bout, as the zones centre, upper, lower."""
    b, wood = instrument.body, body.wood
    x = np.array([instrument.bridge.x_mm, b.upper_at_mm, b.lower_at_mm])
    wide = np.sum(body.outline.half_widths(x), axis=0) - 2.0 * b.overhang_mm - b.rib_thickness_mm
    angle = body.choice.ring_angle_deg
    across = across_modulus(wood.er, wood.et, wood.grt, wood.nu_rt, angle)
    one, two, three = (Strip(float(w), across) for w in wide)
    return one, two, three


def equal_factor(ours: Strip, reference: Strip) -> float:
    """t over the reference's t for the same stiffness of a long flat plate under one foot.

    k = D / (0.01695 w^2), D = E t^3 / 12 (Timoshenko & Woinowsky-Krieger, concentrated load on a
    long supported plate of span w, from memory); hence t = t_ref (w/w_ref)^(2/3) (E_ref/E)^(1/3).
    """
    wide = ours.span_mm / reference.span_mm
    return float(np.cbrt(wide**2 * reference.e_across_mpa / ours.e_across_mpa))


def equal_across(
    zones: Floats, ours: tuple[Strip, Strip, Strip], reference: tuple[Strip, Strip, Strip]
) -> Floats:
    """Zones of a reference (4,) scaled strip by strip; the channel by the mean of the three."""
    factors = [equal_factor(a, b) for a, b in zip(ours, reference, strict=True)]
    out: Floats = zones * np.array([*factors, float(np.mean(factors))])
    return out


def of_mass(shape: Floats, layout: Layout, free: FreePlate, grams: float, where: str) -> Floats:
    """A shape of zones (4,) at the scale at which the finished plate weighs `grams`.

    Errors: Refused when no scale between a fifth and five times gets there.
    """
    basis = layout.basis(free.plate.inside_xy)

    def over(factor: float) -> float:
        return free.structure.mass_g(basis.thickness(shape * factor)) - grams

    low, high = over(_WIDEST_FACTOR[0]), over(_WIDEST_FACTOR[1])
    if not low < 0.0 < high:
        raise refuse(
            "mass-unreachable",
            where,
            f"a plate of this shape weighs {low + grams:.1f} to {high + grams:.1f} g, never "
            f"{grams:.1f} g.",
        )
    return shape * float(brentq(over, *_WIDEST_FACTOR, xtol=1e-5))


def school_shape(row: Mapping[str, float], least: float = 1.0) -> Floats:
    """Zones (4,) centre, upper, lower, channel of a school from its shares of the bouts."""
    return np.array([row["centre"], row["upper"], row["lower"], row["channel"]]) * least
