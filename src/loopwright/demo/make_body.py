"""Make the demo body: a painted figure without a head.

The body is that of Pell, who carries the ladder in *Nine Lamps of Quell*, a
small game that exists only here: where Obbo hums, Pell climbs up and trims
the wick, so that the marsh lights outlast the night.
"""

from __future__ import annotations

from loopwright.demo.grow_sculpt import Recipe, grow_sculpt
from loopwright.demo.paint_body import body_regions, paint_body
from loopwright.demo.shape_body import LOWER, UPPER, shape_body
from loopwright.progress import Progress, silent
from loopwright.types import Sculpt

LEAST_TRIANGLES = 100_000  # with fewer, the fingers grow together at the grid
MOST_TRIANGLES = 6_000_000
_FIRST_STEP = 0.6
_SKIN = ((5.0, 0.03), (1.8, 0.012), (0.8, 0.006))  # wavelength and height of the noise on the skin, cm
_LEAN = (40.0, 0.08)  # wavelength and size of the sway that makes the two sides differ, cm


def make_body(*, triangle_count: int = 400_000, seed: int = 11, progress: Progress = silent) -> Sculpt:
    """Return a generated, painted body to try everything on.

    Parameters
    ----------
    triangle_count : least number of triangles; there are at most a few percent more.
    seed : of the skin's noise, the brush's unevenness and the small asymmetry.
    progress : called as the work goes on.

    Returns
    -------
    Sculpt
        one closed surface of genus 0, centimetres, y up from the ground, the
        front along +z, near-symmetric to x = 0, arms hanging away from the
        torso, four fingers and a thumb on each hand; vertex colours are those
        of :func:`loopwright.demo.body_regions`, hard-edged.  Positions are
        32-bit numbers, so that a file holds them exactly.

    Raises
    ------
    InputError
        where ``triangle_count`` is out of range.

    Examples
    --------
    >>> from loopwright.demo.make_body import make_body
    >>> len(make_body(triangle_count=100_000).triangles) >= 100_000
    True
    """
    recipe = Recipe(
        "pell",
        shape_body,
        LOWER,
        UPPER,
        _FIRST_STEP,
        paint_body,
        body_regions(),
        _SKIN,
        _LEAN,
        LEAST_TRIANGLES,
        MOST_TRIANGLES,
    )
    return grow_sculpt(recipe, triangle_count, seed, progress)
