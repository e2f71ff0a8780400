"""Names of painted colours, and which of them stay open."""

from __future__ import annotations

import numpy as np

from loopwright.errors import MarksError
from loopwright.marks.cluster_colors import ColorClusters
from loopwright.marks.options import RGB, MarksOptions, RegionShare
from loopwright.numerics.norms import norms
from loopwright.types import BoolArray, ByteArray, FloatArray, IntArray


def hex_code(color: RGB) -> str:
    """Return a colour as ``#141414``."""
    return "#{:02x}{:02x}{:02x}".format(*color)


def palette_colors(palette: ByteArray) -> list[RGB]:
    """Return the palette as plain tuples."""
    return [(int(r), int(g), int(b)) for r, g, b in palette]


def wished_colors(options: MarksOptions) -> dict[str, dict[RGB, str]]:
    """Return what each wished colour is wished for, by the list of a marks file that may hold it."""
    return {
        "leave_open": dict.fromkeys(options.open_colors, "leave open"),
        "regions": {wish: f'call "{name}"' for wish, name in options.region_names.items()},
    }


def choose_open(palette: ByteArray, options: MarksOptions) -> BoolArray:
    """Return (c,) which colours of the palette stay open.

    Raises
    ------
    MarksError
        If no painted colour is near a wished one, or one painted colour is nearest to two different ones.
    """
    is_open = np.zeros(len(palette), dtype=bool)
    is_open[list(_match(palette, options, "leave_open"))] = True
    return is_open


def nothing_left(vertex_color: IntArray, is_open: BoolArray, *, is_half: bool) -> MarksError:
    """Return the error for a surface of which no part is kept.

    Parameters
    ----------
    vertex_color : (n,) palette index of each vertex of the whole sculpt, or -1.
    is_half : whether only the half on one side of a mirror plane was looked at.
    """
    painted = vertex_color[vertex_color >= 0]
    if is_open[painted].all():
        return MarksError("every painted colour is open: nothing is left to cover")
    if is_half:
        return MarksError(
            "on the half that is meshed and mirrored every painted colour is open: nothing is left to cover; paint "
            "the other half alike, or cover the sculpt as a whole with --mirror none"
        )
    return MarksError(
        "what is painted and not open is too small to be meant: nothing is left to cover; paint it larger, or leave "
        "fewer colours open"
    )


def name_regions(palette: ByteArray, options: MarksOptions) -> list[str]:
    """Return a name for each colour: the given one, else its hex code; "all" where nothing is painted.

    Raises
    ------
    MarksError
        If a named colour is not in the paint, two names go to one painted colour, or two regions get one name.
    """
    colors = palette_colors(palette)
    names = ["all"] if len(colors) == 1 else [hex_code(color) for color in colors]
    for index, wish in _match(palette, options, "regions").items():
        names[index] = options.region_names[wish]
    if len(set(names)) < len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise MarksError(f"two colours are named {', '.join(twice)}; give each its own name", places=twice)
    return names


def report_regions(
    area: FloatArray, clusters: ColorClusters, is_open: BoolArray, options: MarksOptions
) -> tuple[RegionShare, ...]:
    """Return what each colour covers; ``area`` is that of the sculpt round each of its (n,) vertices."""
    known = clusters.vertex_color >= 0
    held = np.bincount(clusters.vertex_color[known], area[known], len(clusters.palette))
    shares = held / max(float(area.sum()), 1e-300)
    names = name_regions(clusters.palette, options)
    return tuple(
        RegionShare(name, color, float(share), bool(opened))
        for name, color, share, opened in zip(names, palette_colors(clusters.palette), shares, is_open, strict=True)
        if share > 0.0
    )


def _match(palette: ByteArray, options: MarksOptions, about: str) -> dict[int, RGB]:
    """Return the wished colour of each painted one that is meant; ``about`` is a list of a marks file."""
    purposes = wished_colors(options)[about]
    found: dict[int, RGB] = {}
    for wish, purpose in purposes.items():
        index, distance = _nearest(palette, wish)
        painted = [hex_code(color) for color in palette_colors(palette)]
        if distance > options.color_tolerance:
            raise MarksError(
                f"no painted colour is near {hex_code(wish)}, which you wish to {purpose}; the nearest is "
                f"{painted[index]}, and the sculpt has {', '.join(painted)}",
                places=[hex_code(wish)],
                about=about,
            )
        if index in found:
            other = found[index]
            raise MarksError(
                f"{hex_code(other)}, which you wish to {purposes[other]}, and {hex_code(wish)}, which you wish to "
                f"{purpose}, are both nearest to the painted {painted[index]}; keep one, or write the other as it is "
                "painted",
                places=[hex_code(other), hex_code(wish)],
                about=about,
            )
        found[index] = wish
    return found


def _nearest(palette: ByteArray, wish: RGB) -> tuple[int, float]:
    """Return the colour of the palette nearest to a wished one, and how far it is in RGB."""
    distance = norms(palette.astype(np.float64) - np.array(wish, dtype=np.float64))
    index = int(distance.argmin())
    return index, float(distance[index])
