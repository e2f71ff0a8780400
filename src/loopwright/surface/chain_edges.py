"""Chain edges to paths of vertices."""

from __future__ import annotations

import numpy as np

from loopwright.types import IntArray


def chain_edges(ends: IntArray, stops: set[int]) -> list[IntArray]:
    """Chain edges from stop to stop; what meets no stop is closed and repeats its first vertex."""
    around: dict[int, list[int]] = {}
    for k, pair in enumerate(ends.tolist()):
        for v in pair:
            around.setdefault(v, []).append(k)
    used: set[int] = set()
    chains = []
    for start in [*sorted(stops & set(around)), *sorted(around)]:
        for first in around[start]:
            if first in used:
                continue
            chain, edge = [start], first
            while True:
                used.add(edge)
                a, b = (int(v) for v in ends[edge])
                chain.append(b if a == chain[-1] else a)
                following = [k for k in around[chain[-1]] if k not in used]
                if chain[-1] in stops or chain[-1] == start or not following:
                    break
                edge = following[0]
            chains.append(np.array(chain, np.int32))
    return chains
