"""``loopwright edit``: change the loops, poles and regions of a finished mesh."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_file
from loopwright.cli.read_wishes import add_open_argument, read_open_colors
from loopwright.errors import InputError, MarksError, UsageError
from loopwright.handover.write_mesh import check_mesh_path, write_mesh
from loopwright.marks.read_marks import read_marks
from loopwright.options import Mirror
from loopwright.report.report_files import report_files

if TYPE_CHECKING:
    from loopwright.report.summarize_edit import EditResult
    from loopwright.surface.project import SurfaceProjector
    from loopwright.types import Finding, QuadMesh, Sculpt

NAME = "edit"
HELP = "change loops, strips, poles and regions of a finished all-quad mesh"

_APART = 0.05  # of the sculpt's diagonal: a mesh that is farther from it was made from another


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("mesh", type=Path, metavar="MESH", help="all-quad mesh: .obj or .ply")
    parser.add_argument(
        "--edits", type=Path, required=True, metavar="FILE", help="marks file whose list of edits is carried out"
    )
    parser.add_argument("--sculpt", type=Path, metavar="SCULPT", help="sculpt that new and moved vertices are put on")
    parser.add_argument(
        "--fit", action="store_true", help="then even the whole mesh out and fit it to the sculpt, as a build does"
    )
    parser.add_argument(
        "--mirror",
        choices=get_args(Mirror),
        default="auto",
        help="change both sides where they are linked alike, or one, or insist on an axis (default %(default)s)",
    )
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="OUT", help="mesh to write: .obj, .ply or .glb"
    )
    parser.add_argument("--report", type=Path, metavar="DIR", help="write a report with pictures into this folder")
    add_open_argument(parser, "leave areas of this colour out of the report's distances")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Edit, write, tell; return the exit code."""
    open_colors = read_open_colors(arguments)
    _check_files(arguments)
    edits = read_marks(arguments.edits).edits
    if not edits:
        raise MarksError(f'{arguments.edits}: the list "edits" is missing in it, or empty', places=[arguments.edits])
    from loopwright.edit.edit_file_mesh import edit_ready_mesh, ready_file_mesh
    from loopwright.marks.find_colors import part_colors
    from loopwright.report.summarize_edit import EditResult
    from loopwright.stages.clock import Clock
    from loopwright.surface.read_quads import read_quad_mesh

    clock = Clock(console.progress)
    with clock.stage("read"):
        mesh = read_quad_mesh(arguments.mesh)
        sculpt, projector = _open_sculpt(arguments.sculpt, console)
    parted = part_colors(sculpt, open_colors) if sculpt is not None and open_colors else ((), ())
    off = [] if projector is None else _check_sculpt(mesh, projector, arguments)
    with clock.stage("edits"), name_file(arguments.mesh):
        ready = ready_file_mesh(mesh, arguments.mirror)
    with clock.stage("edits"), name_file(arguments.edits):
        edited, findings = edit_ready_mesh(ready, edits, projector, fit=arguments.fit, progress=console.progress)
    write_mesh(arguments.output, edited)
    told = (*off, *findings)
    result = EditResult(arguments.mesh.name, mesh, edited, sculpt, arguments.fit, told, clock.timings, *parted)
    _tell(result, arguments, console)
    return 0


def _check_files(arguments: argparse.Namespace) -> None:
    if arguments.fit and arguments.sculpt is None:
        raise UsageError("--fit needs the sculpt to fit to; give it with --sculpt.")
    if arguments.leave_open and (arguments.sculpt is None or arguments.report is None):
        raise UsageError("--leave-open is for the distances in the report: give --sculpt and --report with it.")
    check_sculpt_file(arguments.mesh)
    if arguments.sculpt is not None:
        check_sculpt_file(arguments.sculpt)
    check_mesh_path(arguments.output)
    inputs = {"the mesh": arguments.mesh, "the edits file": arguments.edits, "the sculpt": arguments.sculpt}
    outputs = [arguments.output]
    if arguments.report is not None:
        check_folder(arguments.report)
        outputs += report_files(arguments.report)
    check_outputs(outputs, inputs)


def _open_sculpt(path: Path | None, console: Console) -> tuple[Sculpt | None, SurfaceProjector | None]:
    if path is None:
        return None, None
    from loopwright.surface.project import SurfaceProjector
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.repair import repair_sculpt

    sculpt, _ = repair_sculpt(read_sculpt(path, progress=console.progress))
    return sculpt, SurfaceProjector(sculpt.positions, sculpt.triangles)


def _check_sculpt(mesh: QuadMesh, projector: SurfaceProjector, arguments: argparse.Namespace) -> list[Finding]:
    """Refuse a sculpt that the mesh does not lie on; tell one that it hardly lies on."""
    import numpy as np

    from loopwright.reuse.lies_elsewhere import tell_elsewhere

    gap = np.linalg.norm(projector.project(mesh.positions).points - mesh.positions, axis=1)
    far = float(np.quantile(gap, 0.9))
    if far > _APART * projector.diagonal:
        raise InputError(
            f"{arguments.mesh} does not lie on {arguments.sculpt}: a tenth of its vertices is {far:.3g} or more away. "
            "Give the sculpt it was made from, in the same unit and place.",
            places=[str(arguments.sculpt)],
        )
    return tell_elsewhere(mesh, projector, str(arguments.mesh), str(arguments.sculpt))


def _tell(result: EditResult, arguments: argparse.Namespace, console: Console) -> None:
    """Write the report, if one is wished for, and tell what came out."""
    from loopwright.fit.measure_quality import measure_quality
    from loopwright.report.summarize import tell_finding

    before, after, findings, path = result.before, result.mesh, result.findings, arguments.output
    old, new = (measure_quality(mesh.positions, mesh.quads).summary() for mesh in (before, after))
    for finding in findings:
        console.say(f"{finding.kind}: {finding.text}")
    axis = "none" if after.mirror is None else "kept"
    console.say(f"faces   {len(after.quads):,} quads (was {len(before.quads):,}), mirror {axis}")
    console.say(
        f"quads   scaled Jacobian {new['mean']:.3f} in the mean (was {old['mean']:.3f}), least {new['min']:.3f} "
        f"(was {old['min']:.3f})"
    )
    console.say(f"mesh    {path}")
    outcome = {
        "faces_before": len(before.quads),
        "faces": len(after.quads),
        "vertices": len(after.positions),
        "mirror_kept": after.mirror is not None,
        "quality_before": old,
        "quality": new,
        "findings": [tell_finding(finding) for finding in findings],
        "mesh_file": str(path),
    }
    if arguments.report is not None:
        from loopwright.report.write_report import write_edit_report

        page = write_edit_report(arguments.report, result, progress=console.progress)
        console.say(f"report  {page}")
        outcome["report_file"] = str(page)
    console.give(outcome)
