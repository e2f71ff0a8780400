"""Write an all-quad mesh in the format that the file name's ending asks for."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from loopwright.errors import InputError, InternalError
from loopwright.handover.write_glb import glb_bytes
from loopwright.handover.write_obj import obj_bytes
from loopwright.handover.write_ply import ply_bytes
from loopwright.types import QuadMesh
from loopwright.write_file import check_name, check_writable, write_file

WRITERS: dict[str, Callable[[QuadMesh], bytes]] = {".obj": obj_bytes, ".ply": ply_bytes, ".glb": glb_bytes}


def check_mesh_path(path: str | os.PathLike[str]) -> None:
    """Refuse a file name that :func:`write_mesh` could not write, before any work is done.

    Raises
    ------
    InputError
        If the ending is unknown, the folder cannot be made or written to, or the name is a folder's.
    """
    target = Path(path)
    check_name(target)
    if target.suffix.lower() not in WRITERS:
        known = ", ".join(WRITERS)
        raise InputError(
            f"{target}: meshes are written as {known}, not as {target.suffix or 'a file without ending'!r}; "
            "choose one of these endings.",
            places=(str(target),),
        )
    if target.is_dir():
        raise InputError(f"{target}: this is a folder; name a file in it.", places=(str(target),))
    try:
        check_writable(target.parent)
    except OSError as error:
        problem = f"the folder cannot be written to ({error.strerror})"
        raise InputError(f"{target}: {problem}; choose another.", places=(str(target),)) from error


def write_mesh(path: str | os.PathLike[str], mesh: QuadMesh) -> None:
    """Write a mesh whole or not at all; folders that are missing are made.

    OBJ and PLY keep the quads, with the regions as groups (OBJ) or as a number per
    face (PLY).  GLB holds triangles, two a quad, with normals and the regions' colours.  The order of
    faces, and in OBJ and PLY of vertices, is the mesh's; the same mesh gives the same bytes.

    Raises
    ------
    InputError
        If the ending is unknown or the file cannot be written; an older file then stays as it was.
    """
    check_mesh_path(path)
    _check_mesh(mesh)
    content = WRITERS[Path(path).suffix.lower()](mesh)
    with write_file(path) as stream:
        stream.write(content)


def _check_mesh(mesh: QuadMesh) -> None:
    if not len(mesh.quads):
        raise InternalError("a mesh to be written has no faces")
    if not np.isfinite(mesh.positions).all():
        raise InternalError("a mesh to be written has positions that are no finite numbers")
    if not 0 <= mesh.quads.min() <= mesh.quads.max() < len(mesh.positions):
        raise InternalError("a mesh to be written uses vertices that are not there")
    if len(mesh.quad_region) != len(mesh.quads):
        raise InternalError("a mesh to be written has faces without a region")
    if not 0 <= mesh.quad_region.min() <= mesh.quad_region.max() < len(mesh.regions):
        raise InternalError("a mesh to be written has faces of a region that is not there")
