"""The state that the steps of a repair share, and the words in which they tell what they found."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from loopwright.errors import InputError
from loopwright.surface.glue import Gluing, double_areas, face_components, glue
from loopwright.surface.parts import LongArray
from loopwright.types import BoolArray, Finding, FloatArray, IntArray, Sculpt


@dataclass(frozen=True)
class RepairOptions:
    """What counts as small.

    Attributes
    ----------
    stray_share : pieces with less than this share of the whole area are stray and dropped.
    fin_share : open pieces that only hung on an edge of more than two triangles are dropped below this share.
    """

    stray_share: float = 1e-3
    fin_share: float = 0.05


@dataclass(frozen=True)
class Fault:
    """One kind of fault: what was found, and the words for what repair does about it."""

    kind: str
    found: str
    repaired: str
    count: int
    elements: IntArray

    def finding(self, *, is_repaired: bool) -> Finding:
        """Word it for a check or for a repair."""
        text = f"{self.found}; {self.repaired}" if is_repaired and self.repaired else self.found
        return Finding(self.kind, f"{text}.", self.count, self.elements)


@dataclass
class RepairWork:
    """A mesh under repair.

    Attributes
    ----------
    sculpt : the sculpt as it came.
    triangles : (m, 3) int32, the mesh now.
    corners : (m, 3) int32, the sculpt's own vertex at each corner.
    face : (m,) int32, the sculpt's own triangle.
    vertex : (n,) int32, a vertex of the sculpt with the place and colour of each vertex now.
    faults : what was found so far.
    """

    sculpt: Sculpt
    triangles: IntArray
    corners: IntArray
    face: IntArray
    vertex: IntArray
    faults: list[Fault] = field(default_factory=list)
    _glued: tuple[IntArray, Gluing] | None = None
    _pieces: tuple[IntArray, int, IntArray] | None = None
    _all_areas: FloatArray | None = None

    @property
    def gluing(self) -> Gluing:
        """The gluing of the triangles now, kept until they change."""
        if self._glued is None or self._glued[0] is not self.triangles:
            self._glued = (self.triangles, glue(self.triangles))
        return self._glued[1]

    def pieces(self, twin: IntArray) -> tuple[int, IntArray]:
        """Return the number of pieces and each triangle's, kept until another gluing is asked for."""
        if self._pieces is None or self._pieces[0] is not twin:
            self._pieces = (twin, *face_components(twin))
        return self._pieces[1:]

    @property
    def areas(self) -> FloatArray:
        """The (m,) doubled areas of the triangles now."""
        if self._all_areas is None:
            with np.errstate(invalid="ignore", over="ignore"):
                self._all_areas = double_areas(self.sculpt.positions, self.sculpt.triangles)
        return self._all_areas[self.face]

    @property
    def positions(self) -> FloatArray:
        """The (n, 3) places of the vertices now."""
        if self.vertex.size == len(self.sculpt.positions):
            return self.sculpt.positions
        return self.sculpt.positions[self.vertex]

    def tell(self, kind: str, found: str, repaired: str, count: int, elements: IntArray | LongArray) -> None:
        """Note a fault; nothing if there is none."""
        if count:
            self.faults.append(Fault(kind, found, repaired, int(count), elements.astype(np.int32)))

    def keep(self, is_kept: BoolArray) -> None:
        """Drop triangles.

        Raises
        ------
        InputError
            If none is left.
        """
        if is_kept.all():
            return
        if not is_kept.any():
            raise InputError(f"{self.sculpt.name}: no sound triangle is left in it; export it again.")
        self.triangles, self.corners = self.triangles[is_kept], self.corners[is_kept]
        self.face = self.face[is_kept]

    def flip(self, is_flipped: BoolArray) -> None:
        """Reverse triangles: corners 0 and 1 change places."""
        for name in ("triangles", "corners"):
            rows = getattr(self, name).copy()
            rows[is_flipped] = rows[is_flipped][:, [1, 0, 2]]
            setattr(self, name, rows)


def start_work(sculpt: Sculpt) -> RepairWork:
    """Begin with the sculpt as it is."""
    faces = np.arange(len(sculpt.triangles), dtype=np.int32)
    vertices = np.arange(len(sculpt.positions), dtype=np.int32)
    return RepairWork(sculpt, sculpt.triangles, sculpt.triangles, faces, vertices)


def plural(count: int, one: str, many: str = "") -> str:
    """Return "1 edge" or "2,000 edges"."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
