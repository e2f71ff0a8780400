"""Why a drawn line adds nothing: what it lies along, or that it is too short."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.marks.told_lines import LEFT_OUT
from loopwright.types import Finding, FloatArray

_PART = 0.2  # share of a line's points that lie along something from which on that is named


@dataclass
class StoppedLines:
    """What was not cut in of drawn lines; why is only found out when it is asked for.

    Attributes
    ----------
    cutter : the surface that lines are cut into.
    names : of the line that each number of the cutter's ``line_of`` stands for.
    """

    cutter: SurfaceCutter
    names: dict[int, str] = field(default_factory=dict)
    _along: dict[str, list[tuple[int, FloatArray]]] = field(default_factory=dict)
    _short: dict[str, tuple[int, float, float]] = field(default_factory=dict)

    def note_along(self, name: str, points: FloatArray) -> None:
        """Note (k, 3) points of a line that lie on something that is in the surface by now."""
        self._along.setdefault(name, []).append((self.cutter.current, points))

    def note_short(self, name: str, points: int, edges: float, least: float) -> None:
        """Note a stretch of so many points that is so long, in edges of the mesh, where ``least`` are needed."""
        if edges >= self._short.get(name, (0, -1.0, 0.0))[1]:
            self._short[name] = points, edges, least

    def tell(self, name: str) -> str:
        """Say why nothing of a line was cut in; where nothing was noted, all of it lies in the mirror plane."""
        found = Counter[str]()
        for number, points in self._along.get(name, []):
            found.update(self._classify(name, number, points))
        count, edges, least = self._short.get(name, (0, 0.0, 0.0))
        if count > sum(found.values()) or (count and not found):
            return f"is too short ({edges:.2g} of an edge of the mesh, where {least:g} are needed)"
        if not found:
            return "lies along the mirror plane"
        total = sum(found.values())
        named = [what for what, points in found.most_common() if points >= _PART * total]
        return f"lies along {' and '.join(named)}"

    def _classify(self, name: str, number: int, points: FloatArray) -> list[str]:
        """Return what the borders and earlier lines nearest to the points are."""
        kinds = self._kinds(name, number)
        vertices = np.array(sorted(kinds), np.int64)
        nearest = self.cutter.tree_of(vertices).query(points)[1] if len(vertices) else ()
        return [kinds[int(vertices[k])] for k in nearest]

    def _kinds(self, name: str, number: int) -> dict[int, str]:
        """Return what the vertices lie on; one of several kinds counts for the one that is set last."""
        cutter, out = self.cutter, dict[int, str]()
        borders, rims = [], []
        for a, b in sorted(cutter.borders):
            if (a, b) in cutter.face_of and (b, a) in cutter.face_of:
                borders.append((a, b))
            elif cutter.on_mirror[a] and cutter.on_mirror[b]:
                out.update({a: "the mirror plane", b: "the mirror plane"})
            else:
                rims.append((a, b))
        for edges, kind in ((rims, "the rim of an opening"), (borders, "a border")):
            out.update({v: kind for edge in edges for v in edge})
        for edge, line in sorted(cutter.line_of.items()):
            if line < number:
                other = self.names.get(line, "")
                kind = "a ridge" if not other else "itself or its mirror image" if other == name else other
                out.update(dict.fromkeys(edge, kind))
        return out


def names_adding_nothing(findings: Iterable[Finding]) -> set[str]:
    """Return the names of lines of which findings tell that nothing of them is cut in."""
    kinds = ("line_adds_nothing", LEFT_OUT)
    return {name for finding in findings if finding.kind in kinds for name in finding.names}
