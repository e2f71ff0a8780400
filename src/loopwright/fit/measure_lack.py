"""What quads lack of a sound shape and of their own paint: what layouts, and ways to lay a mesh on, are compared by."""

from __future__ import annotations

import numpy as np

from loopwright.fit.keep_paint import SAFE_LEAD
from loopwright.types import FloatArray

_SOUND = 0.82  # scaled Jacobian of a sound quad
_PAINT_PRICE = 1.5  # of what a quad lacks of a sure lead of its own paint, against scaled Jacobian


def lack_of_shape(scaled_jacobian: FloatArray) -> FloatArray:
    """Return (m,) how much each quad lacks of a sound scaled Jacobian."""
    return np.maximum(_SOUND - scaled_jacobian, 0.0)


def lack_of_paint(lead: FloatArray) -> FloatArray:
    """Return (m,) the same for the leads of the quads' own paint, as shares of their samples."""
    return _PAINT_PRICE * np.maximum(SAFE_LEAD - lead, 0.0)
