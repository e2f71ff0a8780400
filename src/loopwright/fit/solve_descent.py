"""A few steps of preconditioned conjugate gradients on an operator."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.types import FloatArray

Operator = Callable[[FloatArray], FloatArray]

_TOLERANCE = 1e-8  # of the first residual, squared and preconditioned


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
    solution = np.zeros_like(right)
    residual = right
    steered = precondition(residual)
    direction = steered
    size = first = float((residual * steered).sum())
    for _ in range(steps):
        if size <= _TOLERANCE * first or size <= 0.0:
            break
        image = apply(direction)
        bend = float((direction * image).sum())
        if bend <= 0.0:
            break
        solution = solution + size / bend * direction
        residual = residual - size / bend * image
        steered = precondition(residual)
        fresh = float((residual * steered).sum())
        direction = steered + fresh / size * direction
        size = fresh
    return solution
