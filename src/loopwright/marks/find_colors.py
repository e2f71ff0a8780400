"""The painted colours of a sculpt, and which of them are left open."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.cluster_colors import ColorClusters, cluster_colors
from loopwright.marks.name_regions import choose_open, hex_code, palette_colors, wished_colors
from loopwright.marks.options import RGB, MarksOptions
from loopwright.types import Sculpt

_UNPAINTED = (200, 200, 200)  # the grey of a sculpt without vertex colours


def find_colors(sculpt: Sculpt, options: MarksOptions) -> ColorClusters:
    """Return the painted colours; a sculpt without vertex colours is grey all over."""
    if sculpt.colors is None:
        n = len(sculpt.positions)
        return ColorClusters(np.array([_UNPAINTED], dtype=np.uint8), np.zeros(n, dtype=np.int32))
    return cluster_colors(sculpt.positions, sculpt.triangles, sculpt.colors, min_share=options.min_share)


def check_painted(sculpt: Sculpt, options: MarksOptions) -> None:
    """Refuse wishes for colours of a sculpt without vertex colours; the grey that stands for it may be named.

    Raises
    ------
    MarksError : names the first of these colours.
    """
    if sculpt.colors is not None:
        return
    for about, wishes in wished_colors(options).items():
        for wish, purpose in wishes.items():
            if np.linalg.norm(np.subtract(wish, _UNPAINTED)) > options.color_tolerance:
                raise MarksError(
                    f"the sculpt has no vertex colours, so none is near {hex_code(wish)}, which you wish to {purpose}; "
                    "export the sculpt with its vertex colours, or take out what names or opens colours (regions and "
                    "leave_open in a marks file, --name and --leave-open)",
                    places=[hex_code(wish)],
                    about=about,
                )


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
    check_painted(sculpt, options)
    palette = find_colors(sculpt, options).palette
    colors, is_open = palette_colors(palette), choose_open(palette, options).tolist()
    opened, covered = (tuple(c for c, o in zip(colors, is_open, strict=True) if o == way) for way in (True, False))
    return opened, covered
