"""Find the plane to which a sculpt is symmetric, and how far it is from that."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from loopwright.numerics.nearest import nearest
from loopwright.numerics.norms import norms
from loopwright.surface.edges import row_lengths, triangle_normals
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, IntArray, MirrorPlane

_ROUNDS = 12
_SAMPLES = 3000
# How much nearer the halves must come, relative to the diagonal, before a plane ...
MOST_APART = 0.01  # of the diagonal, rms: halves of a sculpt that differ by more are no mirror images
LEAST_ALIKE = 0.9  # share of the area whose paint is mirrored, if not exactly: with less, the paint is not
_SAME_PLACE = 0.025  # of the diagonal: paint that far from its mirror image counts as mirrored ...
_LEAST_EXACT = 0.7  # ... where that share of the area is mirrored exactly: stripes may be narrower than that
_OFF_ORIGIN = 2e-3  # ... that misses the origin is taken instead of one through it,
_FREE = 1e-4  # ... across no axis is taken instead of one across an axis.
_LEAST_REACH = 0.02  # rms distance of the sculpt from its mirror plane, relative to the diagonal: no sheet lies in it
_FAR = 98.0  # percentile of the distances, by which a part that stands off is seen: one horn, one ear
_FEW_SAMPLES = 300  # to compare the candidates


@dataclass(frozen=True)
class MirrorFit:
    """A plane and how far the sculpt's mirror image lies from the sculpt, relative to the diagonal: rms and far parts.

    All but 2 % of the surface is within ``far``. ``label_agreement`` is the share of the surface that has the paint of
    its image; of a plane that was found, or comes nearest, also of some place near to that (see :func:`share_alike`).
    """

    plane: MirrorPlane
    rms: float
    far: float
    label_agreement: float


def measure_mirror(
    projector: SurfaceProjector, plane: MirrorPlane, samples: FloatArray, vertex_label: IntArray | None
) -> MirrorFit:
    """Reflect samples of the sculpt and measure their distance to it.

    Parameters
    ----------
    samples : (k, 3) points on the sculpt.
    vertex_label : (n,) int32 labels of the sculpt's vertices (-1: none), to
        see whether the paint is mirrored too; or None.
    """
    there = projector.project(plane.reflect(samples))
    distance = norms(there.points - plane.reflect(samples)) / projector.diagonal
    agreement = 1.0
    if vertex_label is not None:
        here = projector.project(samples)
        one, other = (_nearest_label(projector, p.triangles, p.points, vertex_label) for p in (here, there))
        both = (one >= 0) & (other >= 0)
        agreement = float((one == other)[both].mean()) if both.any() else 1.0
    return MirrorFit(plane, float(np.sqrt((distance**2).mean())), float(np.percentile(distance, _FAR)), agreement)


def share_alike(projector: SurfaceProjector, plane: MirrorPlane, samples: FloatArray, vertex_label: IntArray) -> float:
    """Return the share of samples whose image has their paint, or is no further than 2.5 % of the diagonal from it.

    A hand paints no border twice in the same place; what is painted on one half alone has nothing near. Where less than
    70 % have their paint exactly, that share is returned: stripes that change places are near to each other, too.

    Parameters
    ----------
    samples, vertex_label : as of :func:`measure_mirror`.
    """
    here, there = projector.project(samples), projector.project(plane.reflect(samples))
    one, other = (_nearest_label(projector, p.triangles, p.points, vertex_label) for p in (here, there))
    both = (one >= 0) & (other >= 0)
    alike = one == other
    if not both.any():
        return 1.0
    if alike[both].mean() < _LEAST_EXACT:
        return float(alike[both].mean())
    corners = projector.positions[projector.triangles[there.triangles]]
    reach = _SAME_PLACE * projector.diagonal + 0.5 * row_lengths(corners[:, 0] - corners[:, 1])  # to the nearest vertex
    for label in np.unique(one[both & ~alike]):
        asked = np.flatnonzero(both & ~alike & (one == label))
        tree = cKDTree(projector.positions[vertex_label == label], balanced_tree=False)
        alike[asked] = nearest(tree, there.points[asked])[0] <= reach[asked]
    return float(alike[both].mean())


def find_mirror(
    projector: SurfaceProjector,
    *,
    vertex_label: IntArray | None = None,
    max_rms: float = MOST_APART,
    min_agreement: float = LEAST_ALIKE,
) -> MirrorFit | None:
    """Find the mirror plane, or None where the sculpt has none.

    Candidates are the coordinate planes through the origin and through the
    centre, and the principal planes; the best is refined by fitting the
    reflected points to the surface, and snapped to a coordinate plane where
    that is as good.

    Parameters
    ----------
    max_rms : largest distance between sculpt and mirror image, relative to the diagonal.
    min_agreement : least share of the area whose paint is mirrored (see :func:`share_alike`).
    """
    samples = sample_surface(projector.positions, projector.triangles, _SAMPLES)
    few = samples[:: _SAMPLES // _FEW_SAMPLES]
    fits = [measure_mirror(projector, plane, few, vertex_label) for plane in _candidates(samples)]
    order = np.argsort([_order(fit) for fit in fits], kind="stable")
    for index in order[:4]:
        if fits[index].rms > 6.0 * max_rms:
            continue
        refined_plane = _refine(projector, fits[index].plane, samples)
        planes = (fits[index].plane, _snap(refined_plane, projector.diagonal), refined_plane)
        trials = [measure_mirror(projector, plane, samples, vertex_label) for plane in planes]
        best = min(trials, key=_cost)
        if not _reaches(best.plane, samples, projector):
            continue
        if best.rms > max_rms:
            continue
        best = _with_near_paint(best, projector, samples, vertex_label)
        if best.label_agreement >= min_agreement:
            return replace(best, plane=_positive(best.plane))
    return None


def _with_near_paint(
    fit: MirrorFit, projector: SurfaceProjector, samples: FloatArray, vertex_label: IntArray | None
) -> MirrorFit:
    if vertex_label is None:
        return fit
    return replace(fit, label_agreement=share_alike(projector, fit.plane, samples, vertex_label))


def _cost(fit: MirrorFit) -> float:
    is_free = float(np.abs(fit.plane.normal).max()) < 1.0
    misses_origin = is_free or fit.plane.offset != 0.0
    return fit.rms + _FREE * is_free + _OFF_ORIGIN * misses_origin


def plane_across(axis: str, projector: SurfaceProjector) -> MirrorPlane:
    """Return the plane across an axis: through the origin where the sculpt straddles it evenly, else its middle."""
    index = "xyz".index(axis)
    normal = np.eye(3)[index]
    samples = sample_surface(projector.positions, projector.triangles, _SAMPLES)
    low, high = projector.positions[:, index].min(), projector.positions[:, index].max()
    options = [0.0, float(samples[:, index].mean()), float(0.5 * (low + high))]
    fits = [measure_mirror(projector, MirrorPlane(normal, offset), samples, None) for offset in options]
    best = min(range(3), key=lambda k: fits[k].rms * (1.0 if k else 0.8))
    return MirrorPlane(normal, options[best])


def nearest_across_axis(projector: SurfaceProjector, *, vertex_label: IntArray | None = None) -> MirrorFit | None:
    """Return the plane across x, y or z that the sculpt comes nearest to being mirrored across, and how near that is.

    None where all that there are lie in the sculpt, as it is a sheet.
    """
    samples = sample_surface(projector.positions, projector.triangles, _SAMPLES)
    planes = [plane_across(axis, projector) for axis in "xyz"]
    fits = [measure_mirror(projector, p, samples, vertex_label) for p in planes if _reaches(p, samples, projector)]
    best = min(fits, key=_order, default=None)
    return best and _with_near_paint(best, projector, samples, vertex_label)


def _order(fit: MirrorFit) -> float:
    return round(fit.rms, 4) + 0.05 * (1.0 - fit.label_agreement)


def _reaches(plane: MirrorPlane, samples: FloatArray, projector: SurfaceProjector) -> bool:
    """Tell whether the sculpt reaches away from a plane: no sheet that lies in it."""
    rms = float(np.sqrt((plane.signed_distance(samples) ** 2).mean()))
    return rms / projector.diagonal >= _LEAST_REACH


def sample_surface(positions: FloatArray, triangles: IntArray, count: int) -> FloatArray:
    """Return (count, 3) centres of triangles, spread evenly by area; the same every time."""
    samples: FloatArray = positions[triangles[sample_triangles(positions, triangles, count)]].mean(axis=1)
    return samples


def sample_triangles(positions: FloatArray, triangles: IntArray, count: int) -> NDArray[np.int64]:
    """Return (count,) triangles, spread evenly by area; the same every time."""
    total = np.cumsum(row_lengths(triangle_normals(positions, triangles)))
    at = np.searchsorted(total, (np.arange(count) + 0.5) / count * total[-1])
    chosen: NDArray[np.int64] = np.minimum(at, len(triangles) - 1)
    return chosen


def _nearest_label(
    projector: SurfaceProjector, triangles: IntArray, points: FloatArray, vertex_label: IntArray
) -> IntArray:
    corners = projector.triangles[triangles]
    nearest = ((projector.positions[corners] - points[:, None]) ** 2).sum(axis=2).argmin(axis=1)
    out: IntArray = vertex_label[corners[np.arange(len(corners)), nearest]]
    return out


def _candidates(samples: FloatArray) -> list[MirrorPlane]:
    centre = samples.mean(axis=0)
    low, high = samples.min(axis=0), samples.max(axis=0)
    planes = []
    for k in range(3):
        for offset in (0.0, float(centre[k]), float(0.5 * (low + high)[k])):
            planes.append(MirrorPlane(np.eye(3)[k], offset))
    _, axes = np.linalg.eigh(np.cov((samples - centre).T))
    for k in range(3):
        normal = axes[:, k]
        planes.append(MirrorPlane(normal, float(normal @ centre)))
    return planes


def _refine(projector: SurfaceProjector, plane: MirrorPlane, samples: FloatArray) -> MirrorPlane:
    """Fit the plane to pairs of a sample and the point of the sculpt nearest to its mirror image.

    The reflection that best takes one set to the other has as normal the
    eigenvector of lowest value of the symmetric part of the pairs'
    covariance (an orthogonal fit restricted to reflections; derived).
    """
    for _ in range(_ROUNDS):
        there = projector.project(plane.reflect(samples)).points
        gap = norms(there - plane.reflect(samples))
        near = gap <= np.quantile(gap, 0.9)
        a, b = samples[near], there[near]
        mean_a, mean_b = a.mean(axis=0), b.mean(axis=0)
        cross = (a - mean_a).T @ (b - mean_b)
        _, vectors = np.linalg.eigh(cross + cross.T)
        normal = vectors[:, 0] * np.sign(vectors[:, 0] @ plane.normal or 1.0)
        new = MirrorPlane(normal, float(normal @ (mean_a + mean_b) / 2.0))
        moved = np.abs(new.normal - plane.normal).max() + abs(new.offset - plane.offset) / projector.diagonal
        plane = new
        if moved < 1e-7:
            break
    return plane


def _snap(plane: MirrorPlane, diagonal: float) -> MirrorPlane:
    """Return the coordinate plane nearest to the plane where the two differ little."""
    axis = int(np.abs(plane.normal).argmax())
    if abs(plane.normal[axis]) < np.cos(np.deg2rad(2.0)):
        return plane
    offset = plane.offset / plane.normal[axis]
    if abs(offset) < 0.005 * diagonal:
        offset = 0.0
    return MirrorPlane(np.eye(3)[axis], float(offset))


def _positive(plane: MirrorPlane) -> MirrorPlane:
    """Return the same plane with the normal's largest part positive."""
    axis = int(np.abs(plane.normal).argmax())
    if plane.normal[axis] < 0:
        return MirrorPlane(-plane.normal, -plane.offset)
    return plane
