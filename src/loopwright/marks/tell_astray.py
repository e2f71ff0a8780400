"""Tell where a chain of edges lies away from the line that it was to follow."""

from __future__ import annotations

from scipy.spatial import cKDTree

from loopwright.marks.draw_line import resample
from loopwright.types import Finding, FloatArray

_FAR = 0.6  # mesh edges


def tell_astray(name: str, line: FloatArray, chain: FloatArray, reach: float) -> list[Finding]:
    """Return a finding where the chain leaves the line by more than ``_FAR`` mesh edges, or none.

    This happens where a line jumps from one side of a sharp fold or thin form to the other.

    Parameters
    ----------
    line, chain : (k, 3) points.
    reach : about the edge length of the mesh.
    """
    if len(chain) < 2:
        return []
    gap = cKDTree(resample(chain, 0.1 * reach), balanced_tree=False).query(line)[0]
    worst = int(gap.argmax())
    if gap[worst] <= _FAR * reach:
        return []
    at = "({:.4g}, {:.4g}, {:.4g})".format(*line[worst])
    text = (
        f"{name} is followed only to within {gap[worst]:.3g} near {at}: it jumps over a fold or to the other side of a "
        "thin form; draw it there with more points."
    )
    return [Finding("line_astray", text)]
