"""Creases of a mesh that mirrors itself, found on its half."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.detail.change_creases import CreaseWish, make_creases
from loopwright.detail.split_symmetric import SymmetricHalf
from loopwright.detail.types import Creases
from loopwright.types import IntArray


def wishes_of_half(half: SymmetricHalf, wishes: tuple[CreaseWish, ...]) -> tuple[CreaseWish, ...]:
    """Return the wishes in the half's vertex ids; what is wished on the other side is taken by its image."""
    place = np.full(len(half.image), -1, np.int64)
    place[half.own] = np.arange(len(half.own))
    mapped = []
    for wish in wishes:
        pairs = np.asarray(wish.edges, np.int64).reshape(-1, 2)
        both = np.vstack([place[pairs], place[half.image[pairs]]])
        edges = np.unique(np.sort(both[(both >= 0).all(axis=1)], axis=1), axis=0)
        mapped.append(replace(wish, edges=edges.astype(np.int32)))
    return tuple(mapped)


def mirror_creases(half: SymmetricHalf, found: Creases) -> Creases:
    """Return the whole's creases from those of its half."""
    own = half.own[found.edges]
    edges = np.vstack([own, half.image[own]]).astype(np.int32)
    whole = make_creases(edges, np.tile(found.sharpness, 2))
    rows = {tuple(pair): row for row, pair in enumerate(whole.edges.tolist())}
    chains: list[IntArray] = []
    gains: list[float] = []
    for chain, gain in zip(found.report.chains, found.report.gains.tolist(), strict=True):
        sides = [np.sort(pairs[chain], axis=1) for pairs in (own, half.image[own])]
        named = [np.array([rows[tuple(pair)] for pair in side.tolist()], np.int32) for side in sides]
        kept = named[:1] if np.array_equal(np.sort(named[0]), np.sort(named[1])) else named
        chains += kept
        gains += [gain] * len(kept)
    return replace(whole, report=replace(found.report, chains=tuple(chains), gains=np.array(gains)))
