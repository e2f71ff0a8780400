"""Tell which sizes that were asked for the segment counts do not give, with the lengths that they do."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from loopwright.counts.paint_sizes import vertices_under
from loopwright.counts.size_field import asked_lengths, triangle_areas
from loopwright.layout.types import Layout
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import surface_twins
from loopwright.surface.repair_work import plural
from loopwright.types import BoolArray, Finding, FloatArray, IntArray, RegionSurface
from loopwright.wishes import SizeDab

_OFF = 1.25  # factor either way up to which lengths count as kept: whole counts and square quads cost a fifth as a rule
_LEAST_FACES = 4.0  # an area that asks for fewer is no larger than what one face more or less changes by half
_SHOWN = 5  # areas that are named


@dataclass(frozen=True)
class _Area:
    """Triangles with an edge length asked for, and what to call them."""

    name: str
    is_region: bool
    is_in: BoolArray

    @property
    def words(self) -> str:
        """Where it is."""
        return f"{'in' if self.is_region else 'at'} {self.name}"


@dataclass(frozen=True)
class _Off:
    """An area, and how long its edges were wished and are, as the sides of squares that cover it."""

    area: _Area
    wished: float
    got: float

    @property
    def times(self) -> float:
        """The factor that it is off by, more than 1."""
        return max(self.got / self.wished, self.wished / self.got)


def tell_sizes_off(
    layout: Layout,
    faces: IntArray,
    corners_of: Callable[[int], FloatArray],
    sizes: Mapping[int, float],
    dabs: Sequence[SizeDab],
    painted: FloatArray | None,
) -> list[Finding]:
    """Return a finding on the regions and painted places whose edges come out much longer or shorter than asked for.

    An edge is as long as the side of a square of which as many cover the area as it gets faces.

    Parameters
    ----------
    faces : (patches,) quads that fill each patch of the layout.
    corners_of : what places a patch: returns the (faces, 4, 3) corners of its quads, not evened out.
    sizes : region index -> edge length asked for.
    dabs : those that ``painted`` comes of, in order.
    painted : (n,) edge lengths painted on the surface, 0 where none is; None if nothing is painted.
    """
    surface = layout.surface
    asked = asked_lengths(surface, sizes, painted)
    area = triangle_areas(surface)
    density = _face_density(layout, faces, corners_of, area, asked > 0)
    off = []
    for part in _areas(surface, sizes, dabs, painted):
        size = float(area[part.is_in].sum())
        wished = float((area[part.is_in] / asked[part.is_in] ** 2).sum())
        got = float((area * density)[part.is_in].sum())
        if max(wished, got) < _LEAST_FACES:
            continue
        each = _Off(part, float(np.sqrt(size / wished)), float(np.sqrt(size / got)))
        if each.times > _OFF:
            off.append(each)
    return [_tell(off)] if off else []


def _face_density(
    layout: Layout, faces: IntArray, corners_of: Callable[[int], FloatArray], area: FloatArray, is_asked: BoolArray
) -> FloatArray:
    """Return (m,) faces per area on each triangle of the surface, in the patches where a length is asked for.

    A triangle has that of the nearest quad of its patch, which has its faces in all.

    A quad counts as half way between how large its fill makes it and the mean of its patch, for meshes are evened out:
    within a fifth of the edges of finished ones (measured on dabs of several sizes).
    """
    surface = layout.surface
    middles = surface.positions[surface.triangles].mean(axis=1)
    density = np.zeros(len(middles))
    for region in np.unique(surface.triangle_region[is_asked]).tolist():
        here = np.flatnonzero(surface.triangle_region == region)
        patch_of = _nearest_patch(layout, region, middles[here])
        for patch in np.unique(patch_of[is_asked[here]]).tolist():
            mine = here[patch_of == patch]
            corners = corners_of(patch)
            spread = 0.5 * norms(np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]))
            spread = np.sqrt(spread * spread.mean())
            nearest = cKDTree(corners.mean(axis=1), balanced_tree=False).query(middles[mine])[1]
            density[mine] = 1.0 / np.maximum(spread[nearest], 1e-12 * spread.max())
            density[mine] *= faces[patch] / float((density * area)[mine].sum())
    return density


def _nearest_patch(layout: Layout, region: int, points: FloatArray) -> IntArray:
    """Return (n,) the patch of a region that has the triangle with the middle nearest to each point."""
    own = [i for i, patch in enumerate(layout.patches) if patch.region == region]
    middles = [layout.positions[layout.patches[i].origin[layout.patches[i].triangles]].mean(axis=1) for i in own]
    patch_of = np.repeat(np.array(own, np.int32), [len(each) for each in middles])
    found: IntArray = patch_of[cKDTree(np.concatenate(middles), balanced_tree=False).query(points)[1]]
    return found


def _areas(
    surface: RegionSurface, sizes: Mapping[int, float], dabs: Sequence[SizeDab], painted: FloatArray | None
) -> Iterator[_Area]:
    """Yield the areas with a size asked for that no later one lies over."""
    corners = np.zeros((len(surface.triangles), 3)) if painted is None else painted[surface.triangles]
    is_left = np.asarray((corners > 0).all(axis=1), np.bool_)
    for region in sizes:
        yield _Area(surface.regions[region].name, True, (surface.triangle_region == region) & ~is_left)
    for dab in reversed(dabs):
        covered = vertices_under(surface, dab)[surface.triangles].all(axis=1) & is_left
        is_left = is_left & ~covered
        if covered.any():
            yield _Area("({:g}, {:g}, {:g})".format(*dab.at), False, covered)
    for piece in _pieces(surface, is_left):
        yield _Area(_middle(surface, piece), False, piece)


def _pieces(surface: RegionSurface, is_in: BoolArray) -> list[BoolArray]:
    """Return the connected pieces, each within one region, of some of the triangles."""
    twin = surface_twins(surface)
    here = np.flatnonzero((twin >= 0) & np.repeat(is_in, 3))
    one, other = here // 3, twin[here] // 3
    alike = is_in[other] & (surface.triangle_region[one] == surface.triangle_region[other])
    links = (np.ones(int(alike.sum()), np.int8), (one[alike], other[alike]))
    piece = connected_components(coo_matrix(links, shape=(len(is_in),) * 2), directed=False)[1]
    return [(piece == label) & is_in for label in np.unique(piece[is_in])]


def _middle(surface: RegionSurface, is_in: BoolArray) -> str:
    """Return the middle of the triangle nearest to the middle of some."""
    middles = surface.positions[surface.triangles[is_in]].mean(axis=1)
    nearest = middles[int(norms(middles - middles.mean(axis=0)).argmin())]
    return "({:.4g}, {:.4g}, {:.4g})".format(*nearest)


def _tell(off: list[_Off]) -> Finding:
    """Name the areas, those that are off most first, and what would free them."""
    off = sorted(off, key=lambda each: (-each.times, each.area.name))
    named = [
        f"{each.area.words} {each.wished:.2g} was asked for, and edges come out about {each.got:.2g}"
        for each in off[:_SHOWN]
    ]
    more = [f"{len(off) - _SHOWN} more"] if len(off) > _SHOWN else []
    text = f"{plural(len(off), 'size is', 'sizes are')} missed: {'; '.join(named + more)}."
    if any(each.got > each.wished and not each.area.is_region for each in off):
        text += " A closed flow line just round such a place gives it counts of its own."
    if any(each.got > each.wished and each.area.is_region for each in off):
        text += " A larger budget brings regions with longer edges nearer."
    if any(each.got < each.wished for each in off):
        text += " Shorter edges than asked for are what narrow regions, rings and openings need for their rows."
    rows = [
        {"at": each.area.name, "region": each.area.is_region, "wished": each.wished, "got": each.got} for each in off
    ]
    names = tuple(each.area.name for each in off if each.area.is_region)
    return Finding("sizes_off", text, len(off), names=names, data={"sizes": rows})
