"""``loopwright levels``: a finished cage and its sculpt in, subdivided levels with the sculpt's detail out."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.errors import UsageError
from loopwright.surface.repair_work import plural

if TYPE_CHECKING:
    from loopwright.detail.types import Creases, Levels
    from loopwright.surface.project import SurfaceProjector
    from loopwright.types import Finding, QuadMesh

NAME = "levels"
HELP = "subdivide a finished mesh and lay the sculpt's detail on each level"
STACK_NAME = "stack.npz"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("mesh", type=Path, metavar="MESH", help="all-quad mesh: OBJ or PLY file")
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="PLY, OBJ, STL, glTF, GLB or USD file")
    parser.add_argument("--levels", type=int, default=2, metavar="K", help="the finest level (2)")
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FOLDER", help="folder to write to")
    parser.add_argument("--format", choices=("obj", "ply"), default="obj", help="of the meshes: .obj or .ply (obj)")
    parser.add_argument(
        "--creases", action="store_true", help="find edges worth a crease, and fit the cage again with them"
    )
    parser.add_argument("--stack-only", action="store_true", help=f"write {STACK_NAME} and no meshes but the cage")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Make the levels, write, tell; return the exit code."""
    check_sculpt_file(arguments.mesh)
    check_sculpt_file(arguments.sculpt)
    check_folder(arguments.output)
    from loopwright.detail.make_levels import MOST_LEVELS, check_levels, make_levels
    from loopwright.reuse.lies_elsewhere import tell_elsewhere
    from loopwright.surface.project import SurfaceProjector
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.read_quads import read_quad_mesh
    from loopwright.surface.repair import repair_sculpt

    if not 0 <= arguments.levels <= MOST_LEVELS:
        raise UsageError(f"--levels {arguments.levels}: this level cannot be made; ask for 0 to {MOST_LEVELS}.")
    mesh = read_quad_mesh(arguments.mesh)
    check_levels(mesh, arguments.levels)
    names = _file_names(arguments)
    inputs = {"the mesh": arguments.mesh, "the sculpt": arguments.sculpt}
    check_outputs([arguments.output / name for name in names], inputs)
    sculpt, findings = repair_sculpt(read_sculpt(arguments.sculpt, progress=console.progress))
    projector = SurfaceProjector(sculpt.positions, sculpt.triangles)
    findings = [*findings, *tell_elsewhere(mesh, projector, str(arguments.mesh), str(arguments.sculpt))]
    for finding in findings:
        console.say(f"{finding.kind}: {finding.text}")
    creases = None
    if arguments.creases:
        mesh, creases = _crease(mesh, projector, console)
    levels = make_levels(mesh, projector, arguments.levels, creases=creases, progress=console.progress)
    _write(arguments.output, names, levels)
    _tell(levels, findings, names, projector.diagonal, arguments.output, console)
    return 0


def _crease(mesh: QuadMesh, projector: SurfaceProjector, console: Console) -> tuple[QuadMesh, Creases]:
    from loopwright.detail.find_creases import find_creases
    from loopwright.detail.fit_creases import fit_creases, lay_on_sculpt

    creases = find_creases(mesh, projector, progress=console.progress)
    if len(creases.edges):
        mesh, _ = fit_creases(lay_on_sculpt(mesh, projector), projector, creases, progress=console.progress)
    return mesh, creases


def _file_names(arguments: argparse.Namespace) -> list[str]:
    """Return the names of the stack, the cage and the levels."""
    finest = -1 if arguments.stack_only else arguments.levels
    meshes = ["cage", *(f"level_{level}" for level in range(finest + 1))]
    return [STACK_NAME, *(f"{name}.{arguments.format}" for name in meshes)]


def _write(folder: Path, names: list[str], levels: Levels) -> None:
    """Write the stack, the cage and as many levels as there are names for."""
    from loopwright.detail.rebuild_level import rebuild_level
    from loopwright.detail.stack_file import stack_bytes
    from loopwright.handover.write_mesh import write_mesh
    from loopwright.write_file import write_file

    stack, cage, *meshes = (folder / name for name in names)
    with write_file(stack) as stream:
        stream.write(stack_bytes(levels))
    write_mesh(cage, levels.cage)
    for level, mesh in enumerate(meshes):
        write_mesh(mesh, rebuild_level(levels, level))


def _tell(
    levels: Levels, findings: Sequence[Finding], names: list[str], diagonal: float, folder: Path, console: Console
) -> None:
    for report in levels.reports:
        rms, p95, most = (v / diagonal for v in (report.level_rms, report.level_p95, report.level_max))
        console.say(
            f"level {report.level}  {plural(report.faces, 'quad')}; to the sculpt rms {rms:.2e}, 95 % within "
            f"{p95:.2e}, max {most:.2e} of the diagonal" + (f"; {report.folded} folded" if report.folded else "")
        )
    if levels.filled:
        at = plural(levels.filled, "vertex, which follows its", "vertices, which follow their")
        console.say(f"no sculpt was found near by at {at} neighbours")
    if levels.smoothed:
        console.say(f"detail was evened out at {plural(levels.smoothed, 'vertex', 'vertices')}, lest faces fold")
    crease = levels.creases.report
    if len(levels.creases.edges):
        console.say(f"creases {plural(len(levels.creases.edges), 'edge')} in {plural(len(crease.chains), 'chain')}")
    console.say(f"written {folder}: {', '.join(names)}")
    outcome: dict[str, Any] = {
        "levels": [asdict(report) for report in levels.reports],
        "diagonal": diagonal,
        "filled": levels.filled,
        "smoothed": levels.smoothed,
        "creases": [
            {"edge": edge, "sharpness": value}
            for edge, value in zip(levels.creases.edges.tolist(), levels.creases.sharpness.tolist(), strict=True)
        ],
        "findings": [{"kind": finding.kind, "text": finding.text, "count": finding.count} for finding in findings],
        "folder": str(folder),
        "files": names,
    }
    console.give(outcome)
