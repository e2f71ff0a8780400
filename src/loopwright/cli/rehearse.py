"""``loopwright rehearse``: bend a sculpt and its mesh alike, and see how the flow takes it."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_file

if TYPE_CHECKING:
    from loopwright.rehearse.rehearse import Rehearsal
    from loopwright.types import Finding, QuadMesh, Sculpt

NAME = "rehearse"
HELP = "bend a sculpt and its mesh alike by poses, and measure how the mesh takes it"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("mesh", type=Path, metavar="MESH", help="all-quad mesh: .obj or .ply")
    parser.add_argument("sculpt", type=Path, metavar="SCULPT", help="the sculpt that it lies on")
    parser.add_argument("--poses", type=Path, required=True, metavar="FILE", help="JSON file with handles and poses")
    parser.add_argument("--against", type=Path, metavar="MESH", help="another mesh of the same sculpt to compare with")
    parser.add_argument("--pictures", type=Path, metavar="DIR", help="write pictures of the poses into this folder")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Bend, measure, tell; return the exit code."""
    paths = [arguments.mesh] + ([arguments.against] if arguments.against else [])
    for path in (*paths, arguments.sculpt):
        check_sculpt_file(path)
    if arguments.pictures is not None:
        check_folder(arguments.pictures)
    from loopwright.rehearse.poses import tell_wide_turns
    from loopwright.rehearse.read_poses import read_poses
    from loopwright.rehearse.rehearse import rehearse
    from loopwright.rehearse.weights import find_weights
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.read_quads import read_quad_mesh
    from loopwright.surface.repair import repair_sculpt

    wishes = read_poses(arguments.poses)
    names = ("mesh", "other")[: len(paths)]
    if arguments.pictures is not None:
        _check_pictures(arguments, len(wishes.poses), names)
    meshes = tuple(read_quad_mesh(path) for path in paths)
    sculpt, _ = repair_sculpt(read_sculpt(arguments.sculpt, progress=console.progress))
    with name_file(arguments.poses):
        weights = find_weights(sculpt, meshes[0], wishes.handles)
    told = [
        *tell_wide_turns(wishes.poses, [handle.name for handle in wishes.handles]),
        *_tell_elsewhere(meshes, [str(path) for path in paths], sculpt, str(arguments.sculpt)),
    ]
    for finding in told:
        console.say(f"{finding.kind}: {finding.text}")
    rehearsal = rehearse(sculpt, meshes, weights, wishes.poses, progress=console.progress)
    for line in tell_rehearsal(rehearsal, names):
        console.say(line)
    files: list[str] = []
    if arguments.pictures is not None:
        from loopwright.rehearse.draw_poses import draw_poses

        drawn, findings = draw_poses(arguments.pictures, rehearsal, meshes, names, progress=console.progress)
        files = [str(file) for file in drawn]
        for finding in findings:
            console.say(finding.text)
        console.say(f"pictures   {arguments.pictures}")
    tales = [{"kind": finding.kind, "text": finding.text, "count": finding.count} for finding in told]
    console.give({"poses": rehearsal_figures(rehearsal, names), "picture_files": files, "findings": tales})
    return 0


def _tell_elsewhere(
    meshes: Sequence[QuadMesh], names: Sequence[str], sculpt: Sculpt, sculpt_name: str
) -> list[Finding]:
    """Tell the meshes that are another sculpt's."""
    from loopwright.reuse.lies_elsewhere import tell_elsewhere
    from loopwright.surface.project import SurfaceProjector

    projector = SurfaceProjector(sculpt.positions, sculpt.triangles)
    pairs = zip(meshes, names, strict=True)
    return [finding for mesh, name in pairs for finding in tell_elsewhere(mesh, projector, name, sculpt_name)]


def _check_pictures(arguments: argparse.Namespace, poses: int, names: tuple[str, ...]) -> None:
    from loopwright.rehearse.draw_poses import picture_files

    inputs = {
        "the mesh": arguments.mesh,
        "the sculpt": arguments.sculpt,
        "the poses file": arguments.poses,
        "the other mesh": arguments.against,
    }
    check_outputs(picture_files(arguments.pictures, poses, names), inputs)


def rehearsal_figures(rehearsal: Rehearsal, names: tuple[str, ...]) -> dict[str, dict[str, dict[str, float | None]]]:
    """Return figures by pose and mesh; None where nothing is strained."""
    out: dict[str, dict[str, dict[str, float | None]]] = {}
    for index, pose in enumerate(rehearsal.poses):
        out[pose] = {
            name: {key: None if math.isnan(value) else value for key, value in posed[index].figures().items()}
            for name, posed in zip(names, rehearsal.meshes, strict=True)
        }
    return out


def tell_rehearsal(rehearsal: Rehearsal, names: tuple[str, ...]) -> list[str]:
    """Return a table for a person, a row per pose and mesh."""
    lines = [
        f"{'pose':<20} {'of':<6} {'strain angle':>12} {'quality mean':>12} {'p5':>6} {'least':>6} {'folded':>6} "
        f"{'limit off, rms':>14}"
    ]
    for index, pose in enumerate(rehearsal.poses):
        for name, posed in zip(names, rehearsal.meshes, strict=True):
            state = posed[index].figures()
            angle = "none" if math.isnan(state["strain_angle"]) else f"{state['strain_angle']:.1f} deg"
            lines.append(
                f"{pose[:20]:<20} {name:<6} {angle:>12} {state['quality_mean']:>12.3f} {state['quality_p5']:>6.3f} "
                f"{state['quality_min']:>6.3f} {int(state['newly_inverted']):>6} {100 * state['limit_rms']:>12.4f} %"
            )
    lines.append(
        "strain angle: between edges and the directions of strain; 0 follows them, 22.5 is chance, 45 is worst"
    )
    return lines
