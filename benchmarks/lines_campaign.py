"""Draw random flow lines on a sculpt by the dozens and tell how each drawing ended.

    python -m benchmarks.lines_campaign --sculpt demo --first 0 --count 50 --out lines.tsv

The sculpt's regions are made once; every case starts from them.  Every case
runs in a child process that is replaced if it hangs or dies.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, cached_property, partial
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from benchmarks.campaign import Ending, end_of, run_campaign, tell
from benchmarks.check_result import check_half, corner_sines
from benchmarks.random_lines import Canvas, random_lines
from benchmarks.random_shapes import MAKERS, icosphere
from loopwright.counts.size_field import mean_size, size_field
from loopwright.layout.promise_lines import promise_lines, turns_sharply
from loopwright.layout.tell_astray import mesh_chains, tell_astray
from loopwright.marks.draw_line import LineDrawer, resample
from loopwright.marks.local_size import LocalSize
from loopwright.marks.split_at_mirror import split_at_mirror
from loopwright.marks.whole_surface import whole_surface
from loopwright.options import BuildOptions
from loopwright.quads.build_mesh import build_mesh
from loopwright.session import OpenSculpt, open_sculpt
from loopwright.stages.wished_sizes import face_goal
from loopwright.surface.half_edges import arc_length
from loopwright.surface.read import read_sculpt
from loopwright.types import Finding, FloatArray, QuadMesh, RegionSurface, Sculpt
from loopwright.wishes import FlowLine

FOLLOWED = 0.25
"""Furthest, in edges, that any point of a drawn line may lie from the chain."""

TELLING = ("line_astray", "line_broken")
"""Kinds of findings that tell that a line, named first, is not followed all along."""


@dataclass(frozen=True)
class Prepared:
    """An open sculpt and its regions, without drawn lines."""

    opened: OpenSculpt
    surface: RegionSurface
    options: BuildOptions

    @cached_property
    def size(self) -> LocalSize:
        """The wished edge length at places."""
        sizes = size_field(self.surface, face_goal(self.surface, self.options))
        return LocalSize(self.surface, sizes)

    @property
    def reach(self) -> float:
        """The mean wished edge length."""
        return mean_size(self.surface, face_goal(self.surface, self.options))


@cache
def prepare(name: str) -> Prepared:
    """Return a sculpt by name: ``demo``, ``sphere``, ``torus``, ``shape:SEED``, or FILE[:OPEN_HEX[:BUDGET]]."""
    file, *more = name.split("@")
    options = BuildOptions(budget=int(more[1]) if len(more) > 1 else 2500)
    if more and more[0]:
        r, g, b = bytes.fromhex(more[0])
        options = replace(options, leave_open=((r, g, b),))
    if file == "demo":
        from loopwright.demo.make_creature import make_creature

        sculpt = make_creature(triangle_count=100_000)
        options = replace(options, leave_open=((0x1A, 0x16, 0x26),))
    elif file in ("sphere", "torus") or file.startswith("shape"):
        sculpt = _shape(file)
        options = replace(options, budget=int(more[1]) if len(more) > 1 else 800, proxy_faces=12_000)
    else:
        sculpt = read_sculpt(Path(file))
    opened = open_sculpt(sculpt)
    return Prepared(opened, opened.plan(options).surface, options)


def _shape(name: str) -> Sculpt:
    if name == "sphere":
        return Sculpt(*icosphere(5), None, name)
    rng = np.random.default_rng(0 if name == "torus" else int(name.split(":")[1]))
    if name == "torus":
        shape = MAKERS[5](rng, False)
    else:
        shape = MAKERS[rng.integers(len(MAKERS))](rng, bool(rng.random() < 0.5))
    return Sculpt(shape.positions, shape.triangles, None, shape.name)


@dataclass(frozen=True)
class Drawn:
    """A mesh before it is evened out, the surface with its lines, and what was told."""

    mesh: QuadMesh
    surface: RegionSurface
    findings: tuple[Finding, ...]


def draw(ready: Prepared, lines: tuple[FlowLine, ...]) -> Drawn:
    """Make the mesh of a sculpt with lines up to the quads, half of it where there is a mirror plane."""
    made = ready.opened.plan(replace(ready.options, lines=lines))
    planned = made.layout
    mesh = build_mesh(planned.layout, planned.counts, planned.layout.vertex_size)
    promises = promise_lines(ready.surface, lines, reach=ready.size.sizes)
    return Drawn(mesh, made.surface, (*made.findings, *tell_astray(promises, *mesh_chains(mesh))))


def gaps(ready: Prepared, lines: tuple[FlowLine, ...], mesh: QuadMesh) -> dict[str, float]:
    """Return for each line how far it lies from the chains of the mesh at worst, in edges of the mesh there.

    The line is what was drawn, its points joined the shortest way and not
    smoothed.  Chains are edges along borders, rims, lines and the mirror
    plane.  Left out is what the program says it changes: the last edge and a
    half at open ends and at the mirror plane, what lies nearer than 0.6
    edges to a border or an earlier line, and half an edge about a sharp turn.
    """
    samples, lengths = _chain_samples(mesh)
    tree = cKDTree(samples, balanced_tree=False)
    held = [ready.surface.positions[c.vertices] for c in Canvas(ready.surface, ready.reach).chains]
    out: dict[str, float] = {}
    for part in split_at_mirror(_as_drawn(ready, lines), ready.surface.mirror, lambda points: np.zeros(len(points))):
        dense = np.concatenate([part.points, part.points[:1]]) if part.closed else part.points
        along, size = arc_length(dense), ready.size(dense)
        free = ~turns_sharply(dense, size)
        if not part.closed:
            free &= (along > 1.5 * size) & (along < along[-1] - 1.5 * size)
        if held:
            free &= cKDTree(np.concatenate(held), balanced_tree=False).query(dense)[0] > 0.6 * size
        held.append(dense)
        if not free.any() or (part.closed and along[-1] < 3.6 * float(size.mean())):
            continue
        gap, at = tree.query(dense[free])
        out[part.name] = max(out.get(part.name, 0.0), float((gap / lengths[at]).max()))
    return out


def _as_drawn(ready: Prepared, lines: tuple[FlowLine, ...]) -> tuple[FlowLine, ...]:
    """Return the lines dense: joined the shortest way on the whole surface and not smoothed."""
    drawer = LineDrawer(whole_surface(ready.surface))
    out = []
    for line in lines:
        wished = drawer.on_surface(np.array(line.points))
        wished = np.concatenate([wished, wished[:1]]) if line.closed else wished
        pieces = [drawer.between(a, b, line.name) for a, b in zip(wished[:-1], wished[1:], strict=True)]
        dense = resample(np.concatenate([wished[:1], *pieces]), 0.5 * drawer.edge)
        dense = dense[:-1] if line.closed else dense
        out.append(replace(line, points=tuple((float(x), float(y), float(z)) for x, y, z in dense)))
    return tuple(out)


def _chain_samples(mesh: QuadMesh) -> tuple[FloatArray, FloatArray]:
    """Return points along the edges of the chains and the length of the edge of each.

    The program has its own, which is not used here: what it tells is judged by this.
    """
    edges = np.stack([mesh.quads, np.roll(mesh.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    on = (mesh.vertex_curve >= 0) | mesh.is_fixed | mesh.on_mirror
    edges = edges[on[edges].all(axis=1)]
    p = mesh.positions
    length = np.linalg.norm(p[edges[:, 0]] - p[edges[:, 1]], axis=1)
    if not mesh.curves:
        return np.full((1, 3), 1e9), np.ones(1)
    curves = np.concatenate([resample(c.points, 0.1 * float(np.median(length))) for c in mesh.curves])
    middle = 0.5 * (p[edges[:, 0]] + p[edges[:, 1]])
    near = cKDTree(curves, balanced_tree=False).query(middle)[0] < 0.3 * length
    near |= mesh.on_mirror[edges].all(axis=1)
    edges, length = edges[near], length[near]
    share = np.linspace(0, 1, 9)[:, None, None]
    points = ((1 - share) * p[edges[:, 0]] + share * p[edges[:, 1]]).reshape(-1, 3)
    return points, np.tile(length, 9)


def run_case(seed: int, *, sculpt: str, whole: bool = False) -> Ending:
    """Draw the lines of a seed in this process and classify what came of it."""
    ready = prepare(sculpt)
    canvas = Canvas(ready.surface, ready.reach)
    lines, story = random_lines(canvas, np.random.default_rng(seed))
    return end_of(seed, story, lambda: _judge(ready, lines, whole))


def _judge(ready: Prepared, lines: tuple[FlowLine, ...], whole: bool) -> tuple[str, str]:
    if whole:
        result = ready.opened.build(replace(ready.options, lines=lines))
        done = Drawn(result.half or result.mesh, result.surface, result.findings)
    else:
        done = draw(ready, lines)
    faults = check_half(done.mesh, done.surface)
    sines = corner_sines(done.mesh.positions, done.mesh.quads).min(axis=1)
    folded = int((sines <= 0).sum())
    told = sorted({f.kind for f in done.findings if f.kind.startswith("line")})
    spare = {f.text.split(" lies along")[0] for f in done.findings if f.kind == "line_adds_nothing"}
    far = []
    untold = False
    for name, worst in gaps(ready, lines, done.mesh).items():
        if worst > FOLLOWED:
            note = ", though told to add nothing" if name in spare else ""
            is_told = any(f.kind in TELLING and f.text.startswith(f"{name} ") for f in done.findings)
            untold |= not is_told
            far.append(f"{name} is {worst:.2f} edges away{note}, {'' if is_told else 'un'}told")
    kind = "invalid" if faults or (folded and whole) else "valid"
    notes = [*faults, *far, *([f"folded quads {folded}"] if folded else []), *told]
    return ("astray" if untold else "explained") if kind == "valid" and far else kind, "; ".join(notes)


def main() -> int:
    """Run from the command line; the exit code is 1 where a case is neither valid nor explained."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sculpt", default="demo", help=prepare.__doc__)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--count", type=int, default=40, help="number of seeds")
    parser.add_argument("--seeds", type=int, nargs="*", help="these seeds instead")
    parser.add_argument("--whole", action="store_true", help="build the whole mesh, not only up to the quads")
    parser.add_argument("--timeout", type=float, default=180.0, help="seconds after which a case counts as hung")
    parser.add_argument("--out", type=Path, help="file that gets a line per case as it ends")
    asked = parser.parse_args()
    seeds = asked.seeds or list(range(asked.first, asked.first + asked.count))
    run: Callable[[int], Ending] = partial(run_case, sculpt=asked.sculpt, whole=asked.whole)
    endings = run_campaign(seeds, timeout=asked.timeout, out=asked.out, run=run)
    print(tell(endings))
    return int(any(e.kind not in ("valid", "explained") for e in endings))


if __name__ == "__main__":
    sys.exit(main())
