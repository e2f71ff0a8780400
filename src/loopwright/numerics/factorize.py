"""Factors of symmetric sparse matrices, which are solved with again and again."""

from __future__ import annotations

from typing import Any

from scipy.sparse import spmatrix
from scipy.sparse.linalg import SuperLU, splu


def factorize(matrix: spmatrix | Any) -> SuperLU:
    """Return the factors of a symmetric or Hermitian positive definite matrix: columns are ordered as such allow."""
    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
