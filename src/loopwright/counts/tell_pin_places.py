"""Tell of pins whose place lies far from the border that they are for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.counts.read_pins import border_arcs, onto_half
from loopwright.errors import MarksError
from loopwright.layout.types import Layout
from loopwright.numerics.norms import norms
from loopwright.options import Pin
from loopwright.types import Finding

_FAR = 2.0  # edges between a pin's place and its border beyond which it is told
_ASTRAY = 0.1  # of the diagonal: a place farther from its border is refused, as are lines and held places so far off


def tell_pin_places(layout: Layout, pins: Sequence[Pin]) -> list[Finding]:
    """Return a finding for each pin whose place is more than two edges from the nearest piece of its border.

    Raises
    ------
    MarksError : a name that no region has, two that share no border, or a place that is farther from that than a tenth
        of the diagonal, and than two edges.
    """
    findings = []
    for pin in pins:
        if pin.near is None:
            continue
        place = onto_half(layout, pin.near)
        points = np.concatenate([layout.arcs[i].points for i in border_arcs(layout, pin)])
        gaps = norms(points - place)
        nearest = points[int(gaps.argmin())]
        known = layout.positions[: len(layout.vertex_size)]
        edge = float(layout.vertex_size[int(norms(known - nearest).argmin())])
        gap = float(gaps.min())
        there = ", ".join(f"{value:.4g}" for value in nearest)
        text = (
            f"The pin {pin.name}={pin.count}: its place lies {gap:.3g} from the nearest border that it names "
            f"({gap / edge:.1f} edges)"
        )
        if gap > max(_ASTRAY * _diagonal(layout), _FAR * edge):
            text += f", too far to be meant for it: put near on that border, such as at ({there}), or leave near out."
            raise MarksError(text, places=[pin.name], about="pins")
        if gap > _FAR * edge:
            text += f"; what is pinned is the piece near ({there})."
            findings.append(Finding("pin_off_border", text, 1))
    return findings


def _diagonal(layout: Layout) -> float:
    """Return the diagonal of both halves."""
    points, mirror = layout.surface.positions, layout.surface.mirror
    whole = points if mirror is None else np.concatenate([points, mirror.reflect(points)])
    return float(np.linalg.norm(np.ptp(whole, axis=0)))
