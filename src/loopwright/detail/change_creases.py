"""What an artist wishes of creases: pin, raise or remove."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from loopwright.detail.types import CreaseReport, Creases
from loopwright.errors import MarksError
from loopwright.numerics.catmull_clark import unique_edges
from loopwright.types import FloatArray, IntArray

MOST_SHARPNESS = 10.0


@dataclass(frozen=True)
class CreaseWish:
    """A wish for some edges.

    Attributes
    ----------
    edges : (k, 2) vertex pairs of the cage, either way round.
    kind : "pin" gives them just this sharpness, "raise" adds it to what was found, "remove" leaves them smooth.
    value : the sharpness, or what is added to it; not used by "remove".
    """

    edges: IntArray = field(default_factory=lambda: np.zeros((0, 2), np.int32))
    kind: Literal["pin", "raise", "remove"] = "pin"
    value: float = 1.0


def change_creases(creases: Creases, wishes: Sequence[CreaseWish]) -> Creases:
    """Return the creases with the wishes fulfilled, in their order; what they do not name stays."""
    found = {pair: value for pair, value in zip(map(tuple, creases.edges.tolist()), creases.sharpness, strict=True)}
    for wish in wishes:
        for pair in map(tuple, np.sort(np.asarray(wish.edges).reshape(-1, 2), axis=1).tolist()):
            added = found.get(pair, 0.0) if wish.kind == "raise" else 0.0
            found[pair] = 0.0 if wish.kind == "remove" else min(added + wish.value, MOST_SHARPNESS)
    return _build(found, creases.report)


def check_wishes(wishes: Sequence[CreaseWish], quads: IntArray) -> None:
    """Refuse wishes for what is no edge of the quads, or with an impossible value.

    Raises
    ------
    MarksError
        Names the first pair or value at fault.
    """
    known = set(map(tuple, unique_edges(quads).tolist()))
    for wish in wishes:
        if not 0.0 <= wish.value <= MOST_SHARPNESS:
            raise MarksError(f"A crease's sharpness is 0 to {MOST_SHARPNESS:g}, not {wish.value}.")
        for pair in map(tuple, np.sort(np.asarray(wish.edges).reshape(-1, 2), axis=1).tolist()):
            if pair not in known:
                text = f"The mesh has no edge between vertices {pair[0]} and {pair[1]}: name a crease by its edges."
                raise MarksError(text, places=[pair])


def make_creases(edges: IntArray, sharpness: FloatArray) -> Creases:
    """Return creases of (k, 2) edges in ascending order, each once with its greatest sharpness."""
    found: dict[tuple[int, ...], float] = {}
    for pair, value in zip(map(tuple, np.sort(edges, axis=1).tolist()), sharpness.tolist(), strict=True):
        found[pair] = max(value, found.get(pair, 0.0))
    return _build(found, CreaseReport())


def _build(found: dict[tuple[int, ...], float], report: CreaseReport) -> Creases:
    kept = sorted(pair for pair, value in found.items() if value > 0.0)
    sharpness = np.array([found[pair] for pair in kept], np.float64)
    return Creases(np.array(kept, np.int32).reshape(-1, 2), sharpness, report)
