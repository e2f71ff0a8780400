"""``loopwright lighten``: lighter and lighter versions of a finished mesh."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from loopwright.cli.check_paths import check_folder, check_outputs, check_sculpt_file
from loopwright.cli.console import Console
from loopwright.cli.name_file import name_file
from loopwright.errors import InfeasibleError, UsageError
from loopwright.options import Mirror
from loopwright.surface.repair_work import plural

if TYPE_CHECKING:
    from loopwright.edit.lighten import LightMesh
    from loopwright.types import QuadMesh

NAME = "lighten"
HELP = "make lighter versions of a finished mesh by taking out whole loops"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("mesh", type=Path, metavar="MESH", help="all-quad mesh: .obj or .ply")
    parser.add_argument(
        "--shares",
        type=float,
        nargs="+",
        default=[0.5, 0.25],
        metavar="S",
        help="faces of each version as a share of the mesh's, falling (default 0.5 0.25)",
    )
    parser.add_argument("--merge-poles", action="store_true", help="let pairs of poles cancel out; else all stay")
    parser.add_argument(
        "--mirror",
        choices=get_args(Mirror),
        default="auto",
        help="change both sides where they are linked alike, or one, or insist on an axis (default %(default)s)",
    )
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FOLDER", help="folder to write to")
    parser.add_argument("--format", choices=("obj", "ply"), default="obj", help="of the meshes: .obj or .ply (obj)")


def run(arguments: argparse.Namespace, console: Console) -> int:
    """Lighten, write, tell; return the exit code."""
    _check_shares(arguments.shares)
    check_sculpt_file(arguments.mesh)
    check_folder(arguments.output)
    names = [f"light_{index}.{arguments.format}" for index in range(1, len(arguments.shares) + 1)]
    maps = [f"light_{index}_map.txt" for index in range(1, len(arguments.shares) + 1)]
    check_outputs([arguments.output / name for name in (*names, *maps)], {"the mesh": arguments.mesh})
    from loopwright.edit.edit_file_mesh import ready_file_mesh
    from loopwright.edit.lighten import lighten_chain
    from loopwright.surface.read_quads import read_quad_mesh

    with name_file(arguments.mesh), _in_own_words():
        mesh = ready_file_mesh(read_quad_mesh(arguments.mesh), arguments.mirror)
        chain = lighten_chain(mesh, arguments.shares, keep_poles=not arguments.merge_poles, progress=console.progress)
    _write(arguments.output, names, maps, chain)
    figures = [_figures(version.mesh) for version in chain]
    for name, figure in zip(names, figures, strict=True):
        console.say(
            f"{name}  {plural(int(figure['faces']), 'quad')}, {plural(int(figure['poles']), 'pole')}; scaled Jacobian "
            f"{figure['quality_mean']:.3f} in the mean, least {figure['quality_min']:.3f}"
        )
        if figure["folded"]:
            text = f"{plural(int(figure['folded']), 'quad')} folded: a greater share leaves more rows there."
            console.say(f"folded: {text}")
    console.say(f"written {arguments.output}: {', '.join((*names, *maps))}")
    versions = [
        {"file": name, "map_file": table, **figure} for name, table, figure in zip(names, maps, figures, strict=True)
    ]
    console.give({"versions": versions, "mirror_kept": mesh.mirror is not None, "folder": str(arguments.output)})
    return 0


@contextmanager
def _in_own_words() -> Iterator[None]:
    """Name this command's option where an error names that of the Python interface."""
    from loopwright.edit.lighten import MERGE_POLES

    try:
        yield
    except InfeasibleError as error:
        raise InfeasibleError(str(error).replace(MERGE_POLES, "--merge-poles"), places=error.places) from error


def _check_shares(shares: Sequence[float]) -> None:
    if not all(0.0 < share < 1.0 for share in shares) or any(b >= a for a, b in zip(shares, shares[1:], strict=False)):
        raise UsageError(
            f"--shares {' '.join(f'{share:g}' for share in shares)}: give shares between 0 and 1 that fall, such as "
            "0.5 0.25.",
            places=list(shares),
        )


def _write(folder: Path, names: Sequence[str], maps: Sequence[str], chain: Sequence[LightMesh]) -> None:
    """Write each version, and beside it the number of the heavy mesh's vertex for each of its own, from 0."""
    from loopwright.handover.write_mesh import write_mesh
    from loopwright.write_file import write_file

    for name, table, version in zip(names, maps, chain, strict=True):
        write_mesh(folder / name, version.mesh)
        with write_file(folder / table) as stream:
            stream.write("".join(f"{vertex}\n" for vertex in version.first_map.tolist()).encode("ascii"))


def _figures(mesh: QuadMesh) -> dict[str, float]:
    from loopwright.fit.measure_quality import measure_quality

    quality = measure_quality(mesh.positions, mesh.quads)
    summary = quality.summary()
    return {
        "faces": len(mesh.quads),
        "vertices": len(mesh.positions),
        "poles": sum(quality.poles.values()),
        "quality_mean": summary["mean"],
        "quality_min": summary["min"],
        "folded": int((quality.scaled_jacobian <= 0.0).sum()),
    }
