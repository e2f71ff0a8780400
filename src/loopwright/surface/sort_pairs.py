"""Sort pairs of ids by counting: quicker than comparing them when there are many."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

_FEW = 4000  # pairs up to which comparing is quicker


def sort_pairs(first: NDArray[np.integer], second: NDArray[np.integer], count: int) -> NDArray[np.integer]:
    """Return the (k,) order of pairs by their first ids, then their second ones; equal pairs keep their order.

    Parameters
    ----------
    first, second : (k,) from 0 to ``count`` - 1.

    References
    ----------
    H. H. Seward, "Information sorting in the application of electronic digital computers to business operations",
    MIT 1954: sorting by counting, one place after the other, the last one first.
    """
    if len(first) <= _FEW:
        return np.argsort(first.astype(np.int64) * count + second, kind="stable")
    by_second = sort_ids(second, count)
    order: NDArray[np.integer] = by_second[sort_ids(first[by_second], count)]
    return order


def sort_ids(ids: NDArray[np.integer], count: int) -> NDArray[np.integer]:
    """Return the (k,) stable order of ids below ``count``: filling rows of a sparse matrix entry by entry is that."""
    size = len(ids)
    rows = csr_matrix((np.ones(size, np.int8), (ids, np.arange(size, dtype=np.int32))), shape=(count, size))
    order: NDArray[np.integer] = rows.indices
    return order
