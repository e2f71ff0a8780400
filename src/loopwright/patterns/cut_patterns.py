"""All ways to cut a patch by straight chords into parts with one pole each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from loopwright.patterns.one_pole import PatchMesh, build_one_pole, doubled_spoke_matrix
from loopwright.types import IntArray


@dataclass(frozen=True)
class Leaf:
    """A part with one pole; ``side_count`` is 3 or 5."""

    side_count: int


@dataclass(frozen=True)
class Cut:
    """A chord from side ``first`` to side ``second`` (first <= second) of a patch.

    It starts ``a`` edges after the first corner of side ``first``, ends ``b``
    edges after that of side ``second`` and has ``c`` edges.  ``inside`` is
    the part that begins at the chord's start and has the corners
    first + 1 .. second; ``outside`` is the rest, beginning at its end.  The
    chord is the last side of both.
    """

    side_count: int
    first: int
    second: int
    inside: Tree
    outside: Tree


Tree = Leaf | Cut


def cut_count(tree: Tree) -> int:
    """Return the number of chords in a tree."""
    return 0 if isinstance(tree, Leaf) else 1 + cut_count(tree.inside) + cut_count(tree.outside)


def split_sides(cut: Cut, sides: Sequence[IntArray], params: IntArray) -> tuple[list[IntArray], list[IntArray]]:
    """Return the side counts of both parts; counts and (a, b, c) may be numbers, batches or linear forms."""
    i, j = cut.first, cut.second
    a, b, c = params
    outside = [sides[j] - b, *[sides[k % cut.side_count] for k in range(j + 1, i + cut.side_count)], a, c]
    inside = [b - a, c] if i == j else [sides[i] - a, *sides[i + 1 : j], b, c]
    return inside, outside


@lru_cache(maxsize=64)
def enumerate_trees(side_count: int, pole_count: int) -> tuple[Tree, ...]:
    """Return every tree of cuts for ``side_count`` sides whose leaves are ``pole_count`` poles of 3 and 5.

    A part with n sides has poles of index sum 4 - n, so a chord that leaves
    n1 and n2 sides has n1 + n2 = n + 4.
    """
    if pole_count < max(1, abs(4 - side_count)) or (pole_count - side_count) % 2:
        return ()
    if pole_count == 1:
        return (Leaf(side_count),)
    trees: list[Tree] = []
    for i in range(side_count):
        for j in range(i, side_count):
            for poles in range(1, pole_count):
                for inside in enumerate_trees(j - i + 2, poles):
                    for outside in enumerate_trees(side_count - j + i + 2, pole_count - poles):
                        trees.append(Cut(side_count, i, j, inside, outside))
    return tuple(trees)


@lru_cache(maxsize=64)
def enumerate_fold_trees(side_count: int, pole_count: int, side: int) -> tuple[Tree, ...]:
    """Return the trees whose first chord cuts a lens with two poles off ``side``.

    The lens turns loops that enter through that side back to it, which is
    what a side needs that has far more edges than the others take.
    """
    lens = enumerate_trees(2, 2)[0]
    rest = enumerate_trees(side_count + 2, pole_count - 2)
    return tuple(Cut(side_count, side, side, lens, outside) for outside in rest)


@dataclass(frozen=True)
class Pattern:
    """A tree with its spokes as linear forms of side counts and chord parameters.

    Examples
    --------
    >>> Pattern(Leaf(3)).forms.tolist()
    [[-1, 1, 1], [1, -1, 1], [1, 1, -1]]
    """

    tree: Tree
    side_count: int

    @cached_property
    def cuts(self) -> int:
        """Number of chords; each has three parameters."""
        return cut_count(self.tree)

    @cached_property
    def forms(self) -> IntArray:
        """(s, N + 3 cuts) int32: twice the spokes of all leaves in the order of :func:`walk_leaves`."""
        size = self.side_count + 3 * self.cuts
        basis = list(np.eye(size, dtype=np.int32))
        rows = [
            doubled_spoke_matrix(len(sides)) @ np.stack(sides)
            for sides, _ in walk_leaves(self.tree, basis[: self.side_count], basis[self.side_count :])
        ]
        forms: IntArray = np.concatenate(rows).astype(np.int32)
        return forms

    @cached_property
    def faces_chord(self) -> IntArray:
        """(s,) int32: the chord that each spoke ends on, or -1 where that is (a piece of) a side of the patch."""
        labels = [np.int32(-1)] * self.side_count
        found = list(_label_leaves(self.tree, labels, iter(range(self.cuts))))
        return np.concatenate([np.asarray(f, dtype=np.int32) for f in found])


def walk_leaves(
    tree: Tree, sides: Sequence[IntArray], params: Sequence[IntArray]
) -> Iterator[tuple[list[IntArray], Leaf]]:
    """Yield the side counts of every leaf; ``params`` are consumed three per cut, parents first, inside first."""
    if isinstance(tree, Leaf):
        yield list(sides), tree
        return
    inside, outside = split_sides(tree, sides, np.stack(params[:3]))
    middle = 3 + 3 * cut_count(tree.inside)
    yield from walk_leaves(tree.inside, inside, params[3:middle])
    yield from walk_leaves(tree.outside, outside, params[middle:])


def _label_leaves(tree: Tree, labels: Sequence[np.int32], chords: Iterator[int]) -> Iterator[list[np.int32]]:
    if isinstance(tree, Leaf):
        yield list(labels)
        return
    i, j, chord = tree.first, tree.second, np.int32(next(chords))
    outside = [labels[j], *[labels[k % tree.side_count] for k in range(j + 1, i + tree.side_count)], labels[i], chord]
    yield from _label_leaves(tree.inside, [*labels[i : j + 1], chord], chords)
    yield from _label_leaves(tree.outside, outside, chords)


def build_tree(tree: Tree, spokes: Sequence[int], params: Sequence[int]) -> PatchMesh:
    """Return the mesh of a tree with the given spokes (leaf by leaf) and chord parameters."""
    if isinstance(tree, Leaf):
        return build_one_pole(spokes)
    middle = 3 + 3 * cut_count(tree.inside)
    used = _spoke_count(tree.inside)
    inside = build_tree(tree.inside, spokes[:used], params[3:middle])
    outside = build_tree(tree.outside, spokes[used:], params[middle:])
    return _glue(tree, inside, outside)


def _spoke_count(tree: Tree) -> int:
    return tree.side_count if isinstance(tree, Leaf) else _spoke_count(tree.inside) + _spoke_count(tree.outside)


def _glue(cut: Cut, inside: PatchMesh, outside: PatchMesh) -> PatchMesh:
    """Join two parts along their last sides."""
    new_id = np.full(outside.vertex_count, -1, dtype=np.int32)
    new_id[outside.sides[-1]] = inside.sides[-1][::-1]
    free = new_id < 0
    new_id[free] = inside.vertex_count + np.arange(np.count_nonzero(free), dtype=np.int32)
    far = [new_id[side] for side in outside.sides]
    i, j, n = cut.first, cut.second, cut.side_count
    sides: list[IntArray] = [np.zeros(0, np.int32)] * n
    for k in range(j + 1, i + n):
        sides[k % n] = far[k - j]
    if i == j:
        sides[i] = np.concatenate([far[-2], inside.sides[0][1:], far[0][1:]])
    else:
        sides[i] = np.concatenate([far[-2], inside.sides[0][1:]])
        sides[j] = np.concatenate([inside.sides[-2], far[0][1:]])
        for k in range(i + 1, j):
            sides[k] = inside.sides[k - i]
    quads = np.concatenate([inside.quads, new_id[outside.quads]])
    return PatchMesh(quads, inside.vertex_count + int(np.count_nonzero(free)), tuple(sides))
