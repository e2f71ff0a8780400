"""A few steps of preconditioned conjugate gradients on an operator."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.types import FloatArray

Operator = Callable[[FloatArray], FloatArray]

_TOLERANCE = 1e-6  # of the first residual, squared and preconditioned


def solve_descent(apply: Operator, right: FloatArray, precondition: Operator, steps: int) -> FloatArray:
    """Return x with ``apply(x)`` near ``right`` after at most so many steps from zero.

    Parameters
    ----------
    apply : symmetric, positive semidefinite, on arrays of the shape of ``right``.
    right : the right side.
    precondition : symmetric, positive, near the inverse of ``apply``.
    steps : most steps.

    References
    ----------
    M. R. Hestenes, E. Stiefel, "Methods of conjugate gradients for solving linear systems", 1952.
    """
    solution, residual = np.zeros_like(right), right.copy()
    steered = precondition(residual)
    direction = steered.copy()
    size = first = _product(residual, steered)
    for _ in range(steps):
        if size <= _TOLERANCE * first or size <= 0.0:
            break
        image = apply(direction)
        bend = _product(direction, image)
        if bend <= 0.0:
            break
        solution += size / bend * direction
        residual -= size / bend * image
        steered = precondition(residual)
        fresh = _product(residual, steered)
        direction *= fresh / size
        direction += steered
        size = fresh
    return solution


def _product(a: FloatArray, b: FloatArray) -> float:
    return float(np.einsum("i,i->", a.ravel(), b.ravel()))
