"""Clean the labels of a painted demo sculpt of what the brush's unevenness splits off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.demo.relax_surface import edges_of
from loopwright.types import IntArray


def drop_specks(labels: IntArray, triangles: IntArray, pieces: Sequence[int]) -> IntArray:
    """Return the labels with all but the due number of pieces of each label given to their neighbours.

    Pieces hang together through triangles of one label: a lone spike of the brush is a speck too.

    Parameters
    ----------
    labels : (n,) label of each vertex.
    triangles : (m, 3) the mesh.
    pieces : how many pieces each label may have; the largest stay.
    """
    labels = labels.copy()
    edges = edges_of(triangles)
    inner = triangles[(labels[triangles] == labels[triangles[:, :1]]).all(axis=1)]
    pairs = np.concatenate([inner[:, :2], inner[:, 1:]])
    graph = csr_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(labels), len(labels)))
    _, piece = connected_components(graph, directed=False)
    size = np.bincount(piece)
    for index, count in enumerate(pieces):
        own = np.unique(piece[labels == index])
        kept = own[np.argsort(-size[own], kind="stable")[:count]]
        labels[(labels == index) & ~np.isin(piece, kept)] = -1
    both = np.concatenate([edges, edges[:, ::-1]])
    while (labels < 0).any():
        rim = both[(labels[both[:, 0]] < 0) & (labels[both[:, 1]] >= 0)]
        if len(rim) == 0:
            break
        labels[rim[:, 0]] = labels[rim[:, 1]]
    return labels
