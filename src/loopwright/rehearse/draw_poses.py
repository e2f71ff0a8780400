"""Pictures of meshes in poses, quads coloured by how far their edges are from the strain."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from loopwright.progress import Progress, silent
from loopwright.rehearse.measure_strain import Strain
from loopwright.rehearse.rehearse import Rehearsal
from loopwright.report.choose_views import choose_views
from loopwright.report.picture import Layer, Picture, Scene, Solid
from loopwright.report.run_drawing import run_drawing
from loopwright.types import ByteArray, Finding, QuadMesh
from loopwright.write_file import write_file

_CALM = np.array([205.0, 205.0, 200.0])
_GOOD, _BAD = np.array([60.0, 130.0, 190.0]), np.array([205.0, 70.0, 50.0])
_FULL = 0.3  # logarithm of the stretches' ratio at which the colour is full
_VIEWS = ("three_quarter", "side")


def strain_colors(strain: Strain) -> ByteArray:
    """Return (m, 3) colours: grey where nothing is strained, blue for edges along the strain, red for edges at 45."""
    ratio = np.log(np.maximum(strain.stretches[:, 0], 1e-12) / np.maximum(strain.stretches[:, 1], 1e-12))
    share = np.clip(ratio / _FULL, 0.0, 1.0)[:, None]
    lean = np.clip(strain.angle / 45.0, 0.0, 1.0)[:, None]
    colors = (1.0 - share) * _CALM + share * ((1.0 - lean) * _GOOD + lean * _BAD)
    rounded: ByteArray = np.round(colors).astype(np.uint8)
    return rounded


def picture_files(folder: Path, poses: int, names: tuple[str, ...]) -> list[Path]:
    """Return the files that :func:`draw_poses` writes for a number of poses of meshes with these names."""
    return [
        folder / f"{_picture_name(name, pose, view)}.jpg" for pose in range(poses) for name in names for view in _VIEWS
    ]


def _picture_name(name: str, pose: int, view: str) -> str:
    return f"{name}-{pose:02d}-{view}"


def draw_poses(
    folder: Path,
    rehearsal: Rehearsal,
    meshes: tuple[QuadMesh, ...],
    names: tuple[str, ...],
    *,
    progress: Progress = silent,
) -> tuple[tuple[Path, ...], tuple[Finding, ...]]:
    """Write a JPEG per mesh, pose and view into a folder; return the files, and a finding if any is missing."""
    solids: dict[str, Solid] = {}
    pictures = []
    diagonal = 0.0
    for pose_index, pose in enumerate(rehearsal.poses):
        points = rehearsal.sculpts[pose_index]
        diagonal = max(diagonal, float(np.linalg.norm(np.ptp(points, axis=0))))
        views = choose_views(points, None)
        for mesh, name, posed in zip(meshes, names, rehearsal.meshes, strict=True):
            key = f"{name}-{pose_index:02d}"
            state = posed[pose_index]
            solids[key] = Solid(
                state.positions, mesh.quads, strain_colors(state.strain), is_smooth=False, color_of="face", is_open=True
            )
            for view in _VIEWS:
                title = f"{pose}, {name}"
                pictures.append(
                    Picture(_picture_name(name, pose_index, view), title, views[view], (Layer(key, has_edges=True),))
                )
    drawn, findings = run_drawing(Scene(diagonal, solids, {}, pictures), progress=progress)
    files = []
    for picture in drawn:
        target = folder / f"{picture.picture.name}.jpg"
        with write_file(target) as stream:
            stream.write(picture.jpeg)
        files.append(target)
    return tuple(files), findings
