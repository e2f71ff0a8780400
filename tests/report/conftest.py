"""A stand-in for a build: two painted halves of a ball with openings at both sides, planned by hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from loopwright.counts.count_borders import BorderCount
from loopwright.options import BuildOptions
from loopwright.types import (
    Finding,
    FloatArray,
    IntArray,
    MirrorPlane,
    QuadMesh,
    Region,
    RegionSurface,
    Sculpt,
)
from loopwright.wishes import WishOutcome

SIDE = 12
"""Quads along each edge of the cube that becomes a ball."""
REGIONS = (Region("face <&>", (220, 60, 60)), Region("back", (60, 90, 220)))
MIRROR = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)


@dataclass(frozen=True)
class Arc:
    points: FloatArray
    kind: str
    count: int


@dataclass(frozen=True)
class Patch:
    region: int
    side_counts: tuple[int, ...]
    faces: int


@dataclass(frozen=True)
class Layout:
    arcs: tuple[Arc, ...]
    patches: tuple[Patch, ...]
    poles: tuple[tuple[FloatArray, int], ...]
    borders: tuple[BorderCount, ...] = (BorderCount(("back", "face <&>"), 48, 1),)
    openings: tuple[int, ...] = (24, 24)


@dataclass(frozen=True)
class Plan:
    sculpt: Sculpt
    surface: RegionSurface
    layout: Layout
    findings: tuple[Finding, ...]
    timings: dict[str, float]
    options: BuildOptions


@dataclass(frozen=True)
class Build(Plan):
    mesh: QuadMesh
    distances: dict[str, float] = field(default_factory=dict)
    quality: dict[str, float] = field(default_factory=dict)
    outcomes: tuple[WishOutcome, ...] = ()


def make_ball(side: int) -> tuple[FloatArray, IntArray]:
    """Return positions and quads of a cube whose faces are grids, pushed onto the unit sphere."""
    steps = np.linspace(-1.0, 1.0, side + 1)
    first, second = np.meshgrid(steps, steps, indexing="ij")
    flat = np.stack([first.ravel(), second.ravel(), np.ones(first.size)], axis=1)
    row, column = (part.ravel() for part in np.meshgrid(np.arange(side), np.arange(side), indexing="ij"))
    corner = row * (side + 1) + column
    grid = np.stack([corner, corner + side + 1, corner + side + 2, corner + 1], axis=1)
    points, quads = [], []
    for axis in range(3):
        for sign in (1, -1):
            turned = np.roll(flat * [1, 1, sign], axis + 1, axis=1)
            points.append(turned)
            quads.append((grid if sign == 1 else grid[:, ::-1]) + (2 * axis + (sign < 0)) * len(flat))
    every = np.round(np.concatenate(points), 9)
    unique, inverse = np.unique(every, axis=0, return_inverse=True)
    positions = unique / np.linalg.norm(unique, axis=1)[:, None]
    return positions, inverse.ravel()[np.concatenate(quads)].astype(np.int32)


def make_mesh(side: int = SIDE, *, has_openings: bool = True) -> QuadMesh:
    """Return a ball with mirrored openings at both sides and two regions, in front and behind."""
    positions, quads = make_ball(side)
    middles = positions[quads].mean(axis=1)
    if has_openings:
        quads = quads[np.abs(middles[:, 0]) < 0.9]
    used, inverse = np.unique(quads, return_inverse=True)
    positions, quads = positions[used], inverse.reshape(quads.shape).astype(np.int32)
    count = len(positions)
    return QuadMesh(
        positions=positions,
        quads=quads,
        quad_region=(positions[quads].mean(axis=1)[:, 2] < 0).astype(np.int32),
        regions=REGIONS,
        vertex_curve=np.full(count, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(count, bool),
        on_mirror=np.abs(positions[:, 0]) < 1e-12,
        mirror=MIRROR,
    )


def make_plan() -> Plan:
    positions, quads = make_ball(40)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    region = (positions[triangles].mean(axis=1)[:, 2] < 0).astype(np.int32)
    colors = np.array([part.color for part in REGIONS], np.uint8)[(positions[:, 2] < 0).astype(int)]
    is_kept = positions[triangles].mean(axis=1)[:, 0] > 0
    surface = RegionSurface(
        positions, triangles[is_kept], region[is_kept], REGIONS, MIRROR, np.abs(positions[:, 0]) < 1e-12
    )
    angles = np.linspace(np.pi / 2, -np.pi / 2, 30)
    border = np.stack([np.cos(angles), np.sin(angles), np.zeros(30)], axis=1)
    middle = np.stack([np.zeros(30), np.sin(angles), np.cos(angles)], axis=1)
    layout = Layout(
        arcs=(Arc(border, "border", 24), Arc(middle, "mirror", 18)),
        patches=(Patch(0, (6, 6, 6, 6), 36), Patch(1, (4, 4, 4), 12)),
        poles=((np.array([0.577, 0.577, 0.577]), 3), (np.array([0.3, -0.2, 0.93]), 5)),
    )
    return Plan(
        sculpt=Sculpt(positions, triangles, colors, "ball <&>.ply"),
        surface=surface,
        layout=layout,
        findings=(Finding("speck", "2 specks of <stray> colour were dropped.", 2),),
        timings={"read": 0.25, "layout": 1.5},
        options=BuildOptions(budget=800, leave_open=((20, 20, 20),)),
    )


def make_build() -> Build:
    return Build(**vars(make_plan()), mesh=make_mesh())


@pytest.fixture(scope="session")
def plan() -> Plan:
    return make_plan()


@pytest.fixture(scope="session")
def build() -> Build:
    return make_build()


@pytest.fixture(scope="session")
def mesh() -> QuadMesh:
    return make_mesh()


@pytest.fixture(scope="session")
def closed_mesh() -> QuadMesh:
    return make_mesh(has_openings=False)


@pytest.fixture
def moved_mesh(mesh: QuadMesh) -> QuadMesh:
    positions = mesh.positions.copy()
    positions[0] += 0.01
    return replace(mesh, positions=positions)
