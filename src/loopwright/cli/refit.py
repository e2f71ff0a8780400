"""``loopwright refit``: carry a finished mesh to another sculpt."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from loopwright.cli.check_paths import check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_landmarks
from loopwright.errors import InputError, UsageError
from loopwright.handover.write_mesh import check_mesh_path, write_mesh
from loopwright.options import Mirror, parse_color
from loopwright.surface.repair_work import plural

if TYPE_CHECKING:
    from loopwright.reuse.read_landmarks import Landmarks
    from loopwright.reuse.refit import RefitResult
    from loopwright.types import Curve, Sculpt

NAME = "refit"
HELP = "carry a finished all-quad mesh to another sculpt, its vertices and their order unchanged"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("mesh", type=Path, metavar="MESH", help="all-quad mesh: .obj or .ply")
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="the sculpt that it is carried to")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="OUT", help="mesh to write: .obj, .ply or .glb"
    )
    parser.add_argument(
        "--landmarks", type=Path, metavar="FILE", help="JSON file with places on the mesh and the same on the sculpt"
    )
    parser.add_argument(
        "--leave-open",
        action="append",
        default=[],
        metavar="COLOR",
        help="rims go to the borders of areas of this colour; may be repeated",
    )
    parser.add_argument(
        "--mirror",
        choices=get_args(Mirror),
        default="auto",
        help="keep the mesh symmetric where it and the sculpt are, do not, or insist on an axis (default %(default)s)",
    )
    parser.add_argument(
        "--paint-from", type=Path, metavar="SCULPT", help="painted sculpt of the mesh, whose paint is carried too"
    )
    parser.add_argument("--paint", type=Path, metavar="PLY", help="where to write the sculpt with that paint")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Carry, write, tell; return the exit code."""
    _check_files(arguments)
    colors = tuple(dict.fromkeys(parse_color(text) for text in arguments.leave_open))
    from loopwright.demo import write_sculpt_ply
    from loopwright.reuse.read_landmarks import NO_LANDMARKS, read_landmarks
    from loopwright.reuse.refit import RefitOptions, refit
    from loopwright.surface.project import SurfaceProjector
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.read_quads import read_quad_mesh
    from loopwright.surface.repair import repair_sculpt

    mesh = read_quad_mesh(arguments.mesh)
    landmarks = read_landmarks(arguments.landmarks, mesh.positions) if arguments.landmarks else NO_LANDMARKS
    sculpt, _ = repair_sculpt(read_sculpt(arguments.sculpt, progress=console.progress))
    borders = _open_borders(sculpt, colors, console)
    with name_landmarks(arguments.landmarks):
        result = refit(
            mesh,
            SurfaceProjector(sculpt.positions, sculpt.triangles),
            landmarks=landmarks,
            borders=borders,
            options=RefitOptions(mirror=arguments.mirror),
            progress=console.progress,
        )
    carried = None
    if arguments.paint is not None:
        with name_landmarks(arguments.landmarks):
            carried = _carry_paint(arguments.paint_from, sculpt, landmarks, console)
    write_mesh(arguments.output, result.mesh)
    for line in tell_refit(result):
        console.say(line)
    console.say(f"mesh       {arguments.output}")
    outcome = {**refit_figures(result), "mesh_file": str(arguments.output)}
    if carried is not None:
        write_sculpt_ply(arguments.paint, carried)
        console.say(f"paint      {arguments.paint}")
        outcome["paint_file"] = str(arguments.paint)
    console.give(outcome)
    return 0


def refit_figures(result: RefitResult) -> dict[str, object]:
    """Return what a refit reached; distances are shares of the sculpt's diagonal."""
    diagonal = result.fit.diagonal
    off = result.landmark_distances / diagonal
    return {
        "faces": len(result.mesh.quads),
        "landmarks": {
            name: float(distance) for name, distance in zip(result.landmark_names, off.tolist(), strict=True)
        },
        "limit_rms": result.fit.after.rms / diagonal,
        "limit_p95": result.fit.after.p95 / diagonal,
        "limit_max": result.fit.after.max / diagonal,
        "quality_before": result.before.summary(),
        "quality_after": result.after.summary(),
        "newly_inverted": result.newly_inverted,
        "uncovered": result.registration.uncovered,
        "mirror_kept": result.mirror_kept,
        "rims": len(result.registration.template.rims),
        "rims_on_borders": result.rims_on_borders,
    }


def tell_refit(result: RefitResult) -> list[str]:
    """Return lines for a person: landmarks and surface together."""
    diagonal = result.fit.diagonal
    lines = []
    if result.landmark_names:
        off = 100 * result.landmark_distances / diagonal
        worst = result.landmark_names[int(off.argmax())]
        lines.append(
            f"landmarks  {off.mean():.3f} % of the diagonal off in the mean, {off.max():.3f} % at most ({worst})"
        )
    after, quality, old = result.fit.after, result.after.summary(), result.before.summary()
    lines.append(f"surface    {100 * after.rms / diagonal:.4f} % off (rms), {100 * after.max / diagonal:.3f} % at most")
    lines.append(
        f"quads      scaled Jacobian {quality['mean']:.3f} in the mean (was {old['mean']:.3f}), least "
        f"{quality['min']:.3f} (was {old['min']:.3f}), {result.newly_inverted} newly inverted"
    )
    total = len(result.registration.template.rims)
    lines.append(f"rims       {result.rims_on_borders} of {total} on open borders, the others where they came to lie")
    lines.append(f"mirror     {'kept' if result.mirror_kept else 'none'}")
    if result.registration.uncovered:
        lost = plural(result.registration.uncovered, "vertex", "vertices")
        lines.append(f"warning    {lost} found no part of the sculpt that faces the same way")
    return lines


def _check_files(arguments: argparse.Namespace) -> None:
    check_sculpt_file(arguments.mesh)
    check_sculpt_file(arguments.sculpt)
    check_mesh_path(arguments.output)
    _check_paint(arguments)
    inputs = {
        "the mesh": arguments.mesh,
        "the sculpt": arguments.sculpt,
        "the landmarks file": arguments.landmarks,
        "the painted sculpt": arguments.paint_from,
    }
    check_outputs([path for path in (arguments.output, arguments.paint) if path is not None], inputs)


def _check_paint(arguments: argparse.Namespace) -> None:
    if (arguments.paint is None) != (arguments.paint_from is None):
        raise UsageError("--paint and --paint-from go together: give both, or neither.")
    if arguments.paint is None:
        return
    check_sculpt_file(arguments.paint_from)
    check_mesh_path(arguments.paint)
    if arguments.paint.suffix.lower() != ".ply":
        raise InputError(f"{arguments.paint}: a painted sculpt is written as .ply", places=[arguments.paint])


def _open_borders(sculpt: Sculpt, colors: tuple[tuple[int, int, int], ...], console: Console) -> tuple[Curve, ...]:
    if not colors:
        return ()
    from loopwright.marks.options import MarksOptions
    from loopwright.marks.region_surface import make_region_surface
    from loopwright.reuse.rim_curves import open_borders

    options = MarksOptions(open_colors=colors, mirror="none")
    return open_borders(make_region_surface(sculpt, options=options, progress=console.progress)[0])


def _carry_paint(source: Path, target: Sculpt, landmarks: Landmarks, console: Console) -> Sculpt:
    """Return the target with the paint of a sculpt file, on which the mesh's landmarks must lie."""
    from loopwright.reuse.carry_marks import carry_colors
    from loopwright.reuse.register_sculpts import register_sculpts
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.repair import repair_sculpt

    painted, _ = repair_sculpt(read_sculpt(source, progress=console.progress))
    registration = register_sculpts(
        painted,
        target,
        landmarks=landmarks,
        shapes=(f"sculpt {source}, whose paint is carried", "sculpt"),
        progress=console.progress,
    )
    return carry_colors(painted, target, registration)
