"""Refuse landmarks that lie far off the shape that they are on."""

from __future__ import annotations

from loopwright.errors import MarksError
from loopwright.reuse.read_landmarks import Landmarks
from loopwright.types import FloatArray

_ON_SHAPE = 0.03  # of the diagonal: a landmark farther off the surface than this is a mistake


def check_landmarks(landmarks: Landmarks, places: FloatArray, gaps: FloatArray, diagonal: float, shape: str) -> None:
    """Refuse the landmark that lies farthest off a shape, if that is far.

    Parameters
    ----------
    places : (l, 3) of the landmarks on the shape. gaps : (l,) their distances from it.
    diagonal : of the shape.
    shape : what it is called, such as ``sculpt``.

    Raises
    ------
    MarksError : names the landmark, its place, its distance and the way out.
    """
    if len(gaps) == 0 or gaps.max() <= _ON_SHAPE * diagonal:
        return
    worst = int(gaps.argmax())
    name, (x, y, z), gap = landmarks.names[worst], places[worst].tolist(), float(gaps[worst])
    raise MarksError(
        f'the landmark "{name}" at ({x:.4g}, {y:.4g}, {z:.4g}) lies {gap:.3g} ({100 * gap / diagonal:.1f} % of the '
        f"diagonal) off the {shape}; put it on that surface, and check that the file's units and axes are "
        "those of that shape.",
        places=[name],
    )
