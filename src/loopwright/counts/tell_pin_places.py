"""Tell of pins whose place lies far from the border that they are for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.counts.read_pins import border_arcs, onto_half
from loopwright.layout.types import Layout
from loopwright.options import Pin
from loopwright.types import Finding

_FAR = 2.0  # edges between a pin's place and its border beyond which it is told


def tell_pin_places(layout: Layout, pins: Sequence[Pin]) -> list[Finding]:
    """Return a finding for each pin whose place is more than two edges from the nearest piece of its border.

    Raises
    ------
    MarksError : a name that no region has, or two that share no border.
    """
    findings = []
    for pin in pins:
        if pin.near is None:
            continue
        place = onto_half(layout, pin.near)
        points = np.concatenate([layout.arcs[i].points for i in border_arcs(layout, pin)])
        gaps = np.linalg.norm(points - place, axis=1)
        nearest = points[int(gaps.argmin())]
        known = layout.positions[: len(layout.vertex_size)]
        edge = float(layout.vertex_size[int(np.linalg.norm(known - nearest, axis=1).argmin())])
        gap = float(gaps.min())
        if gap > _FAR * edge:
            there = ", ".join(f"{value:.4g}" for value in nearest)
            text = (
                f"The pin {pin.name}={pin.count}: its place lies {gap:.3g} from the nearest border that it names "
                f"({gap / edge:.1f} edges); what is pinned is the piece near ({there})."
            )
            findings.append(Finding("pin_off_border", text, 1))
    return findings
