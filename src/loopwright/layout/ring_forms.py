"""Which forms of a part get rings, and where those lie."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from loopwright.layout.flap_rim import depth_and_height, front_of_flap
from loopwright.layout.flat_stretch import Form, find_forms, flat_stretch, form_above, overhang
from loopwright.layout.ring_bays import BayOptions, leaves_bay
from loopwright.types import BoolArray, FloatArray, IntArray, MirrorPlane


@dataclass(frozen=True)
class GuideOptions:
    """When a form gets rings.

    least_stretch : how much a form has to stand out: the logarithm of how much longer its skin is than a flat
        patch's at its tip.
    least_hung : the same where at least ``least_overhang`` of the skin is turned away from what the form covers, as
        on an ear, whereas a skull has none.
    most_reach, least_height : a form that hangs over is a flap, and gets one ring along its rim, where it goes no
        further out of the opening that it covers, or in, than the first share of the opening's breadth, and out at
        least the second share of how far it goes in.
    flap_start : where that ring lies where the flap has no rim, as a share of what the form stands out.
    flap_blur : the least length over which a flap's folds are averaged away, as a share of its breadth.
    base : where its first ring lies, in the same measure above where it starts.
    least_base : the same as a share of what the form stands out, if that is lower.
    climb : from ring to ring.
    most_rings : rings on one form.
    least_edges : a ring shorter than this many edges is left out.
    blur : length over which curvature is averaged first, in edges.
    bays : when what a ring leaves of its part has a bay; it is left out then, unless it is a flap's.
    """

    least_stretch: float = 1.0
    least_hung: float = 0.6
    least_overhang: float = 0.08
    most_reach: float = 0.5
    least_height: float = 0.5
    flap_start: float = 0.3
    flap_blur: float = 0.08
    base: float = 0.6
    least_base: float = 0.6
    climb: float = 1.2
    most_rings: int = 4
    least_edges: float = 6.0
    blur: float = 1.0
    bays: BayOptions = field(default_factory=BayOptions)


def ring_values(
    points: FloatArray,
    triangles: IntArray,
    on_mirror: BoolArray,
    mirror: MirrorPlane | None,
    blur: float,
    opt: GuideOptions,
) -> Iterator[FloatArray]:
    """Yield, for each ring of a part, (n,) values that are zero on it and positive beyond.

    A form that stands out of the part, or is sunk into it (a horn, a finger, a
    nostril), gets rings that climb it: level lines of
    :func:`loopwright.layout.flat_stretch.flat_stretch`.  A flap, which lies
    over what it grows from (an ear), gets one along its rim, and none that crosses that.  Other rings are left out
    where what they leave of the part is a ring with a bay.

    Parameters
    ----------
    mirror : the plane that some of the part's boundary lies in, or None.
    blur : length over which curvature and normals are averaged first.
    """
    u = flat_stretch(points, triangles, on_mirror, blur=blur)
    fronts: list[FloatArray] = []
    others: list[FloatArray] = []
    for form in find_forms(u, triangles, opt.least_hung):
        levels = _levels(form, opt)
        inside = form_above(u, triangles, form.summit, levels[0])
        plane = mirror if on_mirror[inside].any() else None
        is_hung = overhang(points, triangles, inside, plane) >= opt.least_overhang
        if is_hung and _lies_flat(*depth_and_height(points, triangles, inside, plane), opt):
            front = front_of_flap(
                points, triangles, on_mirror, u, form, mirror, start=opt.flap_start, blur=blur, least_blur=opt.flap_blur
            )
            if all(are_clear(front, other) for other in fronts):
                fronts.append(front)
        elif is_hung or form.top - form.saddle >= opt.least_stretch:
            for level in levels:
                inside = form_above(u, triangles, form.summit, level)
                values = np.where(inside, np.maximum(u - level, 1e-9), np.minimum(u - level, -1e-9))
                if not leaves_bay(points, triangles, on_mirror, values, opt.bays):
                    others.append(values)
    yield from fronts
    yield from (values for values in others if all(are_clear(values, front) for front in fronts))


def are_clear(first: FloatArray, second: FloatArray) -> bool:
    """Tell whether the zero lines of two (n,) values do not cross: one's inside is in the other's, or apart from it."""
    a, b = first > 0, second > 0
    return not (a & b).any() or not (a & ~b).any() or not (b & ~a).any()


def _lies_flat(depth: float, height: float, opt: GuideOptions) -> bool:
    return max(depth, height) <= opt.most_reach and height >= opt.least_height * depth


def _levels(form: Form, opt: GuideOptions) -> list[float]:
    first = form.saddle + min(opt.base, opt.least_base * (form.top - form.saddle))
    rings = 1 + int(max(0.0, form.top - first - opt.least_stretch) / opt.climb)
    return [first + k * opt.climb for k in range(min(rings, opt.most_rings))]
