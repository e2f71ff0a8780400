"""Count the colours under the quads of a mesh: by how much each quad's own leads, and which way it has to grow."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.border_sides import colors_beyond
from loopwright.fit.fold_mirror import is_half
from loopwright.fit.paint_index import PaintIndex
from loopwright.types import BoolArray, FloatArray, IntArray, Paint, QuadMesh

_GRID = 6  # samples along each side of a quad
_ALONG = 0.4  # of a quad's growth, as an exponent, along a border beyond which the other colour is


class PaintSampler:
    """Counts the colours under the quads, on both sides of the mirror plane.

    Parameters
    ----------
    index : finds the colours of this paint.
    """

    def __init__(self, mesh: QuadMesh, paint: Paint, index: PaintIndex) -> None:
        self.index = index
        self.count = len(paint.palette)
        self.mirror = mesh.mirror if is_half(mesh) else None
        self.region_color, self.alias = _region_colors(mesh, paint)
        self.look_at(mesh)
        at = (np.arange(_GRID) + 0.5) / _GRID
        self.u, self.v = (grid.ravel() for grid in np.meshgrid(at, at))
        u, v = self.u, self.v
        self.weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v])

    def look_at(self, mesh: QuadMesh) -> None:
        """Take the quads of this mesh from now on."""
        self.own, self.quads = self.region_color[mesh.quad_region], mesh.quads
        self.beyond = colors_beyond(mesh.quads, self.own)

    def lead(self, positions: FloatArray, chosen: NDArray[np.int64] | None = None) -> tuple[FloatArray, FloatArray]:
        """Return (m,) by which share of the samples each quad's own colour leads, and (m, 2) where to grow.

        Or those of the chosen quads alone. The least of both sides counts. The second array tells how far, along
        each of the quad's two directions, its own samples lie from the others, the larger being 1.
        """
        quads = self.quads if chosen is None else self.quads[chosen]
        return self._lead_both(positions[quads], np.arange(len(self.quads)) if chosen is None else chosen)

    def lead_of(self, corners: FloatArray, faces: NDArray[np.int64]) -> FloatArray:
        """Return (k,) the leads that quads would have with (k, 4, 3) corners; ``faces`` says which quads those are."""
        return self._lead_both(corners, faces)[0]

    def are_over_openings(self, positions: FloatArray) -> BoolArray:
        """Return (m,) which quads lie for the most part over paint of no region, on either side."""
        samples = np.einsum("ks,nkj->nsj", self.weights, positions[self.quads]).reshape(-1, 3)
        shares = [
            ((color >= 0) & ~np.isin(color, self.region_color)).reshape(len(self.quads), -1).mean(axis=1)
            for color in self.colors_at(samples)
        ]
        over: BoolArray = np.max(shares, axis=0) > 0.5
        return over

    def _lead_both(self, corners: FloatArray, faces: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
        own, beyond = self.own[faces], self.beyond[faces]
        samples = np.einsum("ks,nkj->nsj", self.weights, corners)
        lead, way = self._lead(samples, own, beyond)
        if self.mirror is not None:
            image = self.mirror.reflect(samples.reshape(-1, 3)).reshape(samples.shape)
            other, other_way = self._lead(image, own, beyond)
            way = np.where((other < lead)[:, None], other_way, way)
            lead = np.minimum(lead, other)
        return lead, way

    def colors_at(self, points: FloatArray) -> list[IntArray]:
        """Return the colours, merged ones as one, at (k, 3) points and, of a half, at their images."""
        both = [points] if self.mirror is None else [points, self.mirror.reflect(points)]
        return [self.alias[self.index.colors_at(spots)].astype(np.int32) for spots in both]

    def _lead(
        self, samples: FloatArray, own: NDArray[np.int64], beyond: NDArray[np.int64]
    ) -> tuple[FloatArray, FloatArray]:
        color = self.alias[self.index.colors_at(samples.reshape(-1, 3))].reshape(len(samples), len(self.u))
        color = np.where(color < 0, own[:, None], color)  # paint that is of no region is no other's
        lead, way = np.ones(len(samples)), np.ones((len(samples), 2))
        mixed = np.flatnonzero((own >= 0) & (color != own[:, None]).any(axis=1))  # the others lead by all they have
        lead[mixed], way[mixed] = self._lead_of_mixed(color[mixed], own[mixed], beyond[mixed])
        return lead, way

    def _lead_of_mixed(
        self, color: NDArray[np.int64], own: NDArray[np.int64], beyond: NDArray[np.int64]
    ) -> tuple[FloatArray, FloatArray]:
        counts = np.stack([(color == k).sum(axis=1) for k in range(self.count)], axis=1)
        row = np.arange(len(color))
        mine = counts[row, own].copy()
        counts[row, own] = -1
        rival = counts.argmax(axis=1)
        is_own, is_rival = color == own[:, None], color == rival[:, None]
        apart = np.abs(np.stack([_mean(is_own, t) - _mean(is_rival, t) for t in (self.u, self.v)], axis=1))
        largest = apart.max(axis=1)
        way = np.where((largest > 0.05)[:, None], apart / np.maximum(largest, 1e-9)[:, None], 1.0)
        at_border = np.stack([(beyond[:, k] == rival[:, None]).any(axis=1) for k in ([0, 2], [1, 3])], axis=1)
        # a longer chord across a bend of the border takes in more of what is beyond: such quads deepen most
        is_side = (at_border[:, 0] != at_border[:, 1])[:, None]
        way = np.where(is_side, np.where(at_border, _ALONG * way, 1.0), way)
        return (mine - counts.max(axis=1)) / len(self.u), way


def _region_colors(mesh: QuadMesh, paint: Paint) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return (r,) the colour of each region, -1 where it is not in the paint, and (c + 1,) what colours count as.

    The colours of a region that was merged from several count as one. The last entry serves index -1.
    """
    palette = [tuple(int(level) for level in color) for color in paint.palette]
    alias = np.append(np.arange(len(palette)), -1)
    own = [[palette.index(color) for color in region.paint if color in palette] for region in mesh.regions]
    for ids in own:
        if len(ids) > 1:
            alias[np.isin(alias, alias[ids])] = alias[ids].min()
    return np.array([alias[ids[0]] if ids else -1 for ids in own], np.int64), alias


def _mean(chosen: BoolArray, value: FloatArray) -> FloatArray:
    """Return (k,) mean of the value over the chosen samples, 1/2 where there is none."""
    number = chosen.sum(axis=1)
    mean: FloatArray = np.where(number > 0, (chosen * value).sum(axis=1) / np.maximum(number, 1), 0.5)
    return mean
