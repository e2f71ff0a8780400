"""The choices of relaxing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RelaxOptions:
    """How a mesh is evened out.

    Attributes
    ----------
    rounds : rounds of fitting shapes, sliding and putting back on the sculpt.
    retries : how often all rounds are run again where a quad is still folded or flat after mending.
    mends : whether folded and bad quads are mended, which may take long; else they stay as the rounds leave them.
    fairness : weight of straight, evenly graded rows against rectangular quads, in the last round.
    first_fairness : the same in the first round; it falls geometrically.
    evenness : pull of each quad's sides towards smoothly graded rows, 0 to 1.
    size_reach : over how many rows they are graded.
    squareness : pull of each quad's rectangle towards a square, 0 to 1 (aspect follows from the counts).
    long_squareness : the same, so much more, for quads two and a half times as long as wide.
    emphasis : how much more a badly shaped quad counts than a good one, as an exponent.
    solver_steps : conjugate gradient steps per round.
    max_step : longest move per round, in local edge lengths.
    least_quality : scaled Jacobian below which a quad is mended by itself at the end.
    min_cosine : least agreement of the sculpt's normal with the mesh's where a vertex is put back.
    """

    rounds: int = 48
    retries: int = 2
    mends: bool = True
    fairness: float = 0.3
    first_fairness: float = 2.0
    evenness: float = 0.3
    size_reach: float = 4.0
    squareness: float = 0.1
    long_squareness: float = 0.9
    emphasis: float = 1.5
    solver_steps: int = 20
    max_step: float = 0.5
    least_quality: float = 0.3
    min_cosine: float = 0.3
