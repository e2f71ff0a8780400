"""The painted colours of a sculpt, and which of them are left open."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.marks.cluster_colors import ColorClusters, cluster_colors
from loopwright.marks.name_regions import choose_open, palette_colors
from loopwright.marks.options import RGB, MarksOptions
from loopwright.types import Sculpt


def find_colors(sculpt: Sculpt, options: MarksOptions) -> ColorClusters:
    """Return the painted colours; a sculpt without vertex colours is grey all over."""
    if sculpt.colors is None:
        n = len(sculpt.positions)
        return ColorClusters(np.full((1, 3), 200, dtype=np.uint8), np.zeros(n, dtype=np.int32))
    return cluster_colors(sculpt.positions, sculpt.triangles, sculpt.colors, min_share=options.min_share)


def part_colors(sculpt: Sculpt, open_colors: Sequence[RGB]) -> tuple[tuple[RGB, ...], tuple[RGB, ...]]:
    """Return the painted colours that are left open, and those that are covered.

    Parameters
    ----------
    open_colors : as wished for; each means the painted colour near it, as in a build.

    Raises
    ------
    MarksError : no painted colour is near a wished one, or two of them mean the same one.
    """
    options = MarksOptions(open_colors=tuple(open_colors))
    palette = find_colors(sculpt, options).palette
    colors, is_open = palette_colors(palette), choose_open(palette, options).tolist()
    opened, covered = (tuple(c for c, o in zip(colors, is_open, strict=True) if o == way) for way in (True, False))
    return opened, covered
