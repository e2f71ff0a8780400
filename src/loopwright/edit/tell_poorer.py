"""Tell where edits have left quads clearly poorer than the poorest before."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.edit_wishes import Operation
from loopwright.fit.measure_quality import measure_quality
from loopwright.types import Finding, QuadMesh

POORER = "edited_poor"
"""The kind of the finding."""

_POOR = 0.5  # scaled Jacobian from which on a quad is told of: that of a rhombus with angles of 30 degrees
_FALL = 0.1  # fall of the least one that is told


def tell_poorer(before: QuadMesh, after: QuadMesh, edits: Sequence[Operation], advice: str) -> list[Finding]:
    """Return a finding where the least scaled Jacobian fell clearly, with both and the place; none else.

    Quads that are folded, which is told elsewhere, count as well.

    Parameters
    ----------
    edits : what was done.
    advice : the way out.
    """
    old, new = (measure_quality(mesh.positions, mesh.quads).scaled_jacobian for mesh in (before, after))
    worst, was, now = int(new.argmin()), float(old.min()), float(new.min())
    if now >= _POOR or was - now < _FALL:
        return []
    who = f"Edit 1 ({edits[0].op}) takes" if len(edits) == 1 else "The edits take"
    at = "({:.4g}, {:.4g}, {:.4g})".format(*after.positions[after.quads[worst]].mean(axis=0))
    text = f"{who} the least scaled Jacobian of the quads from {was:.2f} to {now:.2f}, near {at}: {advice}."
    return [
        Finding(POORER, text, 1, new.argsort(kind="stable")[:1].astype("int32"), data={"before": was, "after": now})
    ]
