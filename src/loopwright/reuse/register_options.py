"""The choices of registration."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RegisterOptions:
    """How a surface is registered.

    Attributes
    ----------
    node_counts : nodes of the coarse graphs, one graph after the other.
    first_stiffness, last_stiffness : weight of keeping shape while each graph bends; it falls geometrically.
    bend_rounds : rounds per graph.
    first_bending, last_bending : weight of a move that bends, while each vertex goes by itself.
    close_rounds : rounds of that.
    mark_weight : weight of the landmarks against the surface.
    rim_weight : weight of rims on their border against the surface.
    reach : of the diagonal: points of the sculpt farther off than about that count little, at first.
    last_reach : the same in the end.
    min_cosine : least agreement of the sculpt's normal with the surface's.
    """

    node_counts: tuple[int, ...] = (100, 300)
    first_stiffness: float = 3.0
    last_stiffness: float = 0.03
    bend_rounds: int = 9
    first_bending: float = 30.0
    last_bending: float = 1.0
    close_rounds: int = 12
    mark_weight: float = 3.0
    rim_weight: float = 2.0
    reach: float = 0.1
    last_reach: float = 0.02
    min_cosine: float = 0.4
