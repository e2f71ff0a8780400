"""Names of painted colours, and which of them stay open."""

from __future__ import annotations

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.cluster_colors import ColorClusters, vertex_areas
from loopwright.marks.options import RGB, MarksOptions, RegionShare
from loopwright.types import BoolArray, ByteArray, Sculpt


def hex_code(color: RGB) -> str:
    """Return a colour as ``#141414``."""
    return "#{:02x}{:02x}{:02x}".format(*color)


def palette_colors(palette: ByteArray) -> list[RGB]:
    """Return the palette as plain tuples."""
    return [(int(r), int(g), int(b)) for r, g, b in palette]


def choose_open(palette: ByteArray, options: MarksOptions) -> BoolArray:
    """Return (c,) which colours of the palette stay open.

    Raises
    ------
    MarksError
        If no painted colour is near a wished one.
    """
    is_open = np.zeros(len(palette), dtype=bool)
    for wish in options.open_colors:
        is_open[_nearest(palette, wish, options.color_tolerance, "leave open")] = True
    return is_open


def name_regions(palette: ByteArray, options: MarksOptions) -> list[str]:
    """Return a name for each colour: the given one, else its hex code; "all" where nothing is painted.

    Raises
    ------
    MarksError
        If a named colour is not in the paint, or two regions get one name.
    """
    colors = palette_colors(palette)
    names = ["all"] if len(colors) == 1 else [hex_code(color) for color in colors]
    for wish, name in options.region_names.items():
        names[_nearest(palette, wish, options.color_tolerance, f'call "{name}"')] = name
    if len(set(names)) < len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise MarksError(f"two colours are named {', '.join(twice)}; give each its own name", places=twice)
    return names


def report_regions(
    sculpt: Sculpt, clusters: ColorClusters, is_open: BoolArray, options: MarksOptions
) -> tuple[RegionShare, ...]:
    """Return what each colour covers."""
    area = vertex_areas(sculpt.positions, sculpt.triangles)
    known = clusters.vertex_color >= 0
    held = np.bincount(clusters.vertex_color[known], area[known], len(clusters.palette))
    shares = held / max(float(area.sum()), 1e-300)
    names = name_regions(clusters.palette, options)
    return tuple(
        RegionShare(name, color, float(share), bool(opened))
        for name, color, share, opened in zip(names, palette_colors(clusters.palette), shares, is_open, strict=True)
        if share > 0.0
    )


def _nearest(palette: ByteArray, wish: RGB, tolerance: float, purpose: str) -> int:
    distance = np.linalg.norm(palette.astype(np.float64) - np.array(wish, dtype=np.float64), axis=1)
    index = int(distance.argmin())
    if distance[index] > tolerance:
        present = ", ".join(hex_code(color) for color in palette_colors(palette))
        raise MarksError(
            f"no painted colour is near {hex_code(wish)}, which you wish to {purpose}; the sculpt has {present}",
            places=[hex_code(wish)],
        )
    return index
