"""``loopwright carry``: what is painted and marked on one sculpt, at its places on another."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_landmarks, name_marks
from loopwright.errors import InputError, UsageError
from loopwright.handover.write_mesh import check_mesh_path
from loopwright.write_file import check_name

if TYPE_CHECKING:
    from loopwright.marks.marks_file import Marks
    from loopwright.reuse.register_sculpts import SculptRegistration

NAME = "carry"
HELP = "carry the marks and the paint of one sculpt to another of the same kind"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("source", type=Path, metavar="OLD", help="the sculpt that is painted and marked")
    parser.add_argument("target", type=Path, metavar="NEW", help="the sculpt that paint and marks are carried to")
    parser.add_argument("--marks", type=Path, metavar="FILE", help="marks file of the old sculpt")
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="marks file to write")
    parser.add_argument(
        "--paint", type=Path, metavar="PLY", help="where to write the new sculpt with the old one's paint"
    )
    parser.add_argument(
        "--landmarks",
        type=Path,
        metavar="FILE",
        help='JSON file: "mesh" are places on the old sculpt, "sculpt" on the new',
    )


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Register, carry, write, tell; return the exit code."""
    _check_files(arguments)
    from loopwright.marks.read_marks import read_marks, sizes_file
    from loopwright.reuse.carry_marks import carry_colors, tell_far
    from loopwright.reuse.read_landmarks import NO_LANDMARKS, read_landmarks
    from loopwright.reuse.register_sculpts import register_sculpts
    from loopwright.surface.read import read_sculpt
    from loopwright.surface.repair import repair_sculpt

    marks = read_marks(arguments.marks) if arguments.marks else None
    if arguments.marks is not None:
        check_outputs(_outputs(arguments), {"the file of sizes that the marks name": sizes_file(arguments.marks)})
    given = [read_sculpt(path, progress=console.progress) for path in (arguments.source, arguments.target)]
    if arguments.paint is not None and given[0].colors is None:
        text = f"{arguments.source} has no vertex colours to be carried; paint it, or leave out --paint."
        raise InputError(text, places=[arguments.source])
    landmarks = read_landmarks(arguments.landmarks, given[0].positions) if arguments.landmarks else NO_LANDMARKS
    old, new = (repair_sculpt(sculpt)[0] for sculpt in given)
    with name_landmarks(arguments.landmarks):
        registration = register_sculpts(old, new, landmarks=landmarks, progress=console.progress)
    outcome = {**_figures(registration), "marks_file": None, "paint_file": None}
    with name_marks(arguments.marks):
        carried = _carry(marks, registration, len(given[0].positions), len(given[1].positions)) if marks else None
    painted = carry_colors(old, new, registration) if arguments.paint is not None else None
    far = tell_far(marks, old) if marks else []
    outcome["findings"] = [{"kind": finding.kind, "text": finding.text, "count": finding.count} for finding in far]
    for line in (*_tell(registration, landmarks.names), *(f"{finding.kind}: {finding.text}" for finding in far)):
        console.say(line)
    if carried is not None:
        from loopwright.marks.write_marks import write_marks

        write_marks(arguments.output, carried)
        console.say(f"marks      {arguments.output}")
        outcome["marks_file"] = str(arguments.output)
    if painted is not None:
        from loopwright.demo import write_sculpt_ply

        write_sculpt_ply(arguments.paint, painted)
        console.say(f"paint      {arguments.paint}")
        outcome["paint_file"] = str(arguments.paint)
    console.give(outcome)
    return 0


def _carry(marks: Marks, registration: SculptRegistration, old_count: int, new_count: int) -> Marks:
    """Return the marks carried; sizes per vertex belong to the vertices of the files, which a repair may change."""
    from loopwright.reuse.carry_marks import carry_marks

    is_kept = old_count == len(registration.source.positions) and new_count == len(registration.target.positions)
    if marks.vertex_sizes is not None and not is_kept:
        raise InputError(
            "The marks have a size per vertex, but a sculpt had to be repaired, so that its vertices are others now; "
            "repair the files first, or take vertex_sizes out of the marks."
        )
    return carry_marks(marks, registration)


def _figures(registration: SculptRegistration) -> dict[str, object]:
    coarse = registration.coarse
    return {
        "surface_rms": coarse.surface_rms / coarse.diagonal,
        "surface_max": coarse.surface_max / coarse.diagonal,
        "uncovered": coarse.uncovered,
        "landmarks": (coarse.landmark_distances / coarse.diagonal).tolist(),
    }


def _tell(registration: SculptRegistration, names: tuple[str, ...]) -> list[str]:
    coarse = registration.coarse
    lines = []
    if names:
        off = 100 * coarse.landmark_distances / coarse.diagonal
        worst = names[int(off.argmax())]
        lines.append(
            f"landmarks  {off.mean():.3f} % of the diagonal off in the mean, {off.max():.3f} % at most ({worst})"
        )
    rms, most = (100 * value / coarse.diagonal for value in (coarse.surface_rms, coarse.surface_max))
    lines.append(
        f"surface    {rms:.4f} % off (rms), {most:.3f} % at most, of a coarse form of the old sculpt laid on the new"
    )
    if coarse.uncovered:
        lines.append(
            f"warning    {coarse.uncovered} of its vertices found no part of the new sculpt that faces their way"
        )
    return lines


def _check_files(arguments: argparse.Namespace) -> None:
    if (arguments.marks is None) != (arguments.output is None):
        raise UsageError("--marks and -o go together: the marks to carry, and where to write them.")
    if arguments.marks is None and arguments.paint is None:
        raise UsageError("There is nothing to carry: give --marks FILE -o FILE, --paint PLY, or both.")
    check_sculpt_file(arguments.source)
    check_sculpt_file(arguments.target)
    if arguments.output is not None and arguments.output.suffix.lower() != ".json":
        raise InputError(f"{arguments.output}: marks are written as .json", places=[arguments.output])
    if arguments.output is not None:
        check_name(arguments.output)
        check_folder(arguments.output.parent)
    if arguments.paint is not None:
        check_mesh_path(arguments.paint)
        if arguments.paint.suffix.lower() != ".ply":
            raise InputError(f"{arguments.paint}: a painted sculpt is written as .ply", places=[arguments.paint])
    inputs = {
        "the old sculpt": arguments.source,
        "the new sculpt": arguments.target,
        "the marks file": arguments.marks,
        "the landmarks file": arguments.landmarks,
    }
    check_outputs(_outputs(arguments), inputs)


def _outputs(arguments: argparse.Namespace) -> list[Path]:
    outputs = [path for path in (arguments.output, arguments.paint) if path is not None]
    if arguments.output is not None:
        outputs.append(arguments.output.with_suffix(".npy"))
    return outputs
