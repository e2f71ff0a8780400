"""Make the demo sculpt: a painted bust of an invented creature.

The creature is Obbo, the lamp-warden of *Nine Lamps of Quell*, a small game
that exists only here: Obbo hums to the marsh lights at dusk, so that no
traveller walks home in the dark.
"""

from __future__ import annotations

from loopwright.demo.grow_sculpt import Recipe, grow_sculpt
from loopwright.demo.paint_creature import demo_regions, paint_creature
from loopwright.demo.shape_creature import LOWER, UPPER, shape_creature
from loopwright.progress import Progress, silent
from loopwright.types import Sculpt

LEAST_TRIANGLES = 100_000  # with fewer, lids and lips fall through the grid
MOST_TRIANGLES = 6_000_000
_FIRST_STEP = 0.3
_SKIN = ((1.7, 0.011), (0.65, 0.007), (0.3, 0.005))  # wavelength and height of the noise on the skin, cm
_LEAN = (11.0, 0.035)  # wavelength and size of the sway that makes the two sides differ, cm


def make_creature(*, triangle_count: int = 420_000, seed: int = 7, progress: Progress = silent) -> Sculpt:
    """Return a generated, painted bust to try everything on.

    Parameters
    ----------
    triangle_count : least number of triangles; there are at most a few percent more.
    seed : of the skin's noise, the brush's unevenness and the small asymmetry.
    progress : called as the work goes on.

    Returns
    -------
    Sculpt
        one closed surface of genus 0, centimetres, y up, the face along +z,
        near-symmetric to x = 0; vertex colours are those of
        :func:`loopwright.demo.demo_regions`, hard-edged.  Positions are
        32-bit numbers, so that a file holds them exactly.

    Raises
    ------
    InputError
        where ``triangle_count`` is out of range.

    Examples
    --------
    >>> from loopwright.demo.make_creature import make_creature
    >>> len(make_creature(triangle_count=100_000).triangles) >= 100_000
    True
    """
    recipe = Recipe(
        "obbo",
        shape_creature,
        LOWER,
        UPPER,
        _FIRST_STEP,
        paint_creature,
        demo_regions(),
        _SKIN,
        _LEAN,
        LEAST_TRIANGLES,
        MOST_TRIANGLES,
    )
    return grow_sculpt(recipe, triangle_count, seed, progress)
