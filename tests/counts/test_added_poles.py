"""Poles that fills add are planned, counted and told."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import FACES, SURFACES, layout_of, link

from loopwright.counts.added_poles import patch_poles, tell_added_poles
from loopwright.counts.count_program import SumPin
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.fill_poles import fill_poles
from loopwright.counts.measure_faces import is_simple, side_counts
from loopwright.counts.solve_counts import arc_targets, solve_for_budget
from loopwright.patterns.fill_patch import fill_patch
from loopwright.quads.build_mesh import build_mesh
from loopwright.types import MirrorPlane

SIDES = [
    (3, 3, 3, 3),
    (5, 3, 3, 7),
    (10, 5, 9, 16),
    (14, 9, 13, 26),
    (2, 4, 4),
    (3, 3, 8),
    (4, 4, 4, 4, 4),
    (6, 4, 3, 5, 6),
]


@pytest.mark.parametrize("sides", SIDES)
def test_valences_are_those_of_the_fill(sides: tuple[int, ...]) -> None:
    fill = fill_patch(sides)
    found = link(fill.quads, fill.vertex_count)
    inner = Counter(found.valence[~found.is_rim].tolist())
    del inner[4]
    assert Counter(patch_poles(sides)) == inner


def _uneven(name: str) -> tuple[SumPin, ...]:
    """A pin that no grid can take: one side of a four-sided patch gets four segments more than the side opposite."""
    layout = layout_of(name)
    free = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES)[0]
    patch = next(p for p in layout.patches if len(p.sides) == 4)
    pair = [tuple(a for a, _ in patch.sides[k]) for k in (0, 2)]
    one, other = (int(free[list(arcs)].sum()) for arcs in pair)
    return SumPin(pair[0], one + 4, "one side"), SumPin(pair[1], other, "other side")


@pytest.mark.parametrize("name", SURFACES)
def test_planned_poles_are_those_of_the_mesh(name: str) -> None:
    layout = layout_of(name)
    counts = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES)[0]
    _check_against_mesh(CountedLayout(layout, counts))
    assert all(is_simple(tuple(s)) for s in side_counts(layout, counts)) == (not tell_added_poles(layout, counts, ()))


@pytest.mark.parametrize("name", ["quilt", "torus in sectors"])
def test_poles_that_a_pin_adds_are_counted_and_told_with_the_pin(name: str) -> None:
    layout, pins = layout_of(name), _uneven(name)
    counts = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES, pins=pins)[0]
    _check_against_mesh(CountedLayout(layout, counts))
    (told,) = tell_added_poles(layout, counts, pins)
    extra = sum(len(patch_poles(s)) - abs(4 - len(s)) for s in side_counts(layout, counts))
    assert told.kind == "poles_added" and told.count == extra > 0 and extra % 2 == 0
    assert pins[0].wish in told.text or pins[1].wish in told.text
    assert added_by_text(told.text) == told.count


def added_by_text(text: str) -> int:
    """Sum up what a message says to be added, place by place, times two where the mirror images are told to be too."""
    first, _, places = text.partition(" do not fit: ")
    added = sum(
        int(found) for found in re.findall(r"(?:^|; )(\d+)(?: of the \d+)?(?:,[^,]* left,)? (?:near|at) \(", places)
    )
    added += sum(int(found) for found in re.findall(r"; and (\d+) in \d+ more patch", places))
    halves = re.search(r"needs \((\d+), and as many mirror images\)", first)
    assert halves is None or int(halves[1]) == added
    return added if halves is None else 2 * added


@pytest.mark.parametrize("is_mirrored", [False, True])
@pytest.mark.parametrize("name", ["plain sphere", "cube"])
def test_numbers_told_with_many_places_add_up(name: str, is_mirrored: bool) -> None:
    layout = layout_of(name)
    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), -1e3)
    layout = replace(layout, surface=replace(layout.surface, mirror=plane if is_mirrored else None))
    counts = np.random.default_rng(1).choice([2, 4, 6, 12, 20], len(layout.arcs)).astype(np.int32)
    (told,) = tell_added_poles(layout, counts, ())
    assert re.search(r"; and \d+ in \d+ more patch", told.text), "not enough patches to try this"
    assert (" of the 3 near" in told.text) == (name == "plain sphere")  # whose patches have three sides and a pole
    assert added_by_text(told.text) == told.count


@pytest.mark.parametrize("name", ["quilt", "torus in sectors"])
def test_the_poles_of_fills_are_found_in_the_mesh(name: str) -> None:
    layout, pins = layout_of(name), _uneven(name)
    counts = solve_for_budget(layout, arc_targets(layout, layout.vertex_size), FACES, pins=pins)[0]
    mesh = build_mesh(layout, counts, layout.vertex_size)
    valence, sides = link(mesh.quads, len(mesh.positions)).valence, side_counts(layout, counts)
    found = fill_poles(layout, counts)
    assert set(found) == {i for i, each in enumerate(sides) if not is_simple(tuple(each))} != set()
    for patch, poles in found.items():
        assert sorted(quads for _, quads in poles) == sorted(patch_poles(sides[patch]))
        around = mesh.positions[[vertex for vertex, _ in poles]]
        surface = layout.positions[layout.patches[patch].origin]
        assert np.linalg.norm(around[:, None] - surface[None], axis=2).min(axis=1).max() < layout.vertex_size.max()
        assert [int(valence[vertex]) for vertex, _ in poles] == [quads for _, quads in poles]


def _check_against_mesh(planned: CountedLayout) -> None:
    layout = planned.layout
    mesh = build_mesh(layout, planned.counts, layout.vertex_size)
    found = link(mesh.quads, len(mesh.positions))
    inner = Counter(found.valence[np.flatnonzero(~found.is_rim)].tolist())
    del inner[4]
    assert Counter(valence for _, valence in planned.poles) == inner
