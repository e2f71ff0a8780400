"""Find the arcs that got far fewer segments than their lengths ask for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loopwright.counts.count_program import SumPin
from loopwright.types import FloatArray, IntArray

_SHARE = 1.0 / 3.0  # of the wished segments, below which ...
_LEAST = 4.0  # ... an arc that wishes for as many is starved: its edges are three times as long as those round it


def find_starved(counts: IntArray, targets: FloatArray, pins: Sequence[SumPin] = ()) -> NDArray[np.int64]:
    """Return the arcs whose counts are far below what is wished, ascending; pinned ones have what they are to have.

    Parameters
    ----------
    counts, targets : (arcs,) segments, and how many are wished. What all arcs have less or more of than they wish,
        as the budget is what it is, does not count.
    """
    asks = targets >= 1.0
    if not asks.any():
        return np.zeros(0, np.int64)
    wished = targets * float(np.median(counts[asks] / targets[asks]))
    is_starved = (wished >= _LEAST) & (counts <= _SHARE * wished)
    for pin in pins:
        is_starved[list(pin.arcs)] = False
    return np.flatnonzero(is_starved)
