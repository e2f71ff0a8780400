"""Where an edit is meant."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.types import FloatArray


@dataclass(frozen=True)
class Place:
    """Where an edit is meant, on the half that is edited.

    Attributes
    ----------
    near : (3,) a point near the mesh.
    across, along, toward : (3,) directions or None: of the edges that are crossed, of the loop, of a move.
    is_mirrored : whether the place was given on the other side.
    """

    near: FloatArray
    across: FloatArray | None = None
    along: FloatArray | None = None
    toward: FloatArray | None = None
    is_mirrored: bool = False
