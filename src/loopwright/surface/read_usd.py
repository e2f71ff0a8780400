"""Read USD in a process of its own, so that a damaged file can't take this one down."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress
from loopwright.surface.parts import (
    LongArray,
    Part,
    bytes_from_fractions,
    fan_triangulate,
    input_error,
    srgb_from_linear,
)
from loopwright.types import ByteArray

INSTALL = 'install the extra with: pip install "loopwright[usd]"'
MAX_SECONDS = 600.0
_POLL_SECONDS = 0.05
_CHILD = "from loopwright.surface.usd_child import main; main()"


def read_usd(path: Path, progress: Progress) -> list[Part]:
    """Read every mesh of a USD stage as one part, in its place in the world.

    ``displayColor`` is linear by convention and is encoded as sRGB.  The
    stage's ``metersPerUnit`` and ``upAxis`` are ignored: numbers stay as written.

    Raises
    ------
    InputError
        If usd-core is not installed, or the stage cannot be read.
    """
    if find_spec("pxr") is None:
        raise input_error(path.name, "", "reading USD needs the package usd-core", INSTALL)
    with tempfile.TemporaryDirectory(prefix="loopwright-") as folder:
        _run_child(path, Path(folder), progress)
        parts = [_part(path.name, Path(folder), entry) for entry in _contents(path.name, Path(folder))]
    progress("read", 1.0)
    return parts


def _run_child(path: Path, folder: Path, progress: Progress) -> None:
    """Let another process unpack the stage into plain arrays; stop it if it hangs or is cancelled."""
    roots = json.dumps([str(Path(entry).resolve()) for entry in sys.path if entry])
    setup = f"import sys; sys.path[:0] = {roots}; "
    command = [sys.executable, "-c", setup + _CHILD, str(path.resolve()), str(folder)]
    nowhere = subprocess.DEVNULL
    child = subprocess.Popen(command, stdin=nowhere, stdout=nowhere, stderr=nowhere)
    try:
        deadline = time.monotonic() + MAX_SECONDS
        while child.poll() is None:
            progress("read", 0.5)
            if time.monotonic() > deadline:
                raise input_error(path.name, "", "reading the USD stage does not come to an end")
            time.sleep(_POLL_SECONDS)
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
    if child.returncode != 0:
        raise input_error(path.name, "", "this is no USD stage, or it is damaged or refers to files that are missing")


def _contents(name: str, folder: Path) -> list[dict[str, Any]]:
    entries: list[dict[str, Any]] = json.loads((folder / "contents.json").read_text("utf-8"))
    if not entries:
        raise input_error(name, "", "there is no mesh on the USD stage", "export the sculpt as a mesh")
    return entries


def _part(name: str, folder: Path, entry: dict[str, Any]) -> Part:
    """Check one mesh of the child's arrays and turn it into a part."""
    arrays = {key: np.load(folder / file, allow_pickle=False) for key, file in entry["arrays"].items()}
    place = str(entry["prim"])
    points, corners = arrays["points"].reshape(-1, 3), arrays["corners"].astype(np.int64)
    sizes, matrix = arrays["sizes"].astype(np.int64), arrays["matrix"]
    if len(corners) != int(sizes.sum()) or (sizes.size and sizes.min() < 3):
        raise input_error(name, place, "the corner counts of its faces do not fit its corners")
    with np.errstate(over="ignore", invalid="ignore"):
        positions = points.astype(np.float64) @ matrix[:3, :3] + matrix[3, :3]
    triangles = fan_triangulate(sizes, corners)
    if (np.linalg.slogdet(matrix[:3, :3])[0] < 0.0) != bool(entry["left_handed"]):
        triangles = np.ascontiguousarray(triangles[:, ::-1])
    in_range = corners.size == 0 or (corners.min() >= 0 and corners.max() < len(points))
    colors = _colors(arrays, str(entry["interpolation"]), len(points), sizes, corners) if in_range else None
    return Part(positions, triangles, colors, place)


def _colors(
    arrays: dict[str, NDArray[Any]], interpolation: str, count: int, sizes: LongArray, corners: LongArray
) -> ByteArray | None:
    """Bring ``displayColor`` of any interpolation to the vertices; of several colours at a vertex the last counts."""
    if "colors" not in arrays or len(arrays["colors"]) == 0:
        return None
    values = bytes_from_fractions(srgb_from_linear(arrays["colors"].reshape(-1, 3)))
    result = np.full((count, 3), 255, np.uint8)
    if interpolation == "constant" or len(values) == 1:
        result[:] = values[0]
    elif interpolation in ("vertex", "varying") and len(values) == count:
        result[:] = values
    elif interpolation == "uniform" and len(values) == len(sizes):
        result[corners] = np.repeat(values, sizes, axis=0)
    elif interpolation == "faceVarying" and len(values) == len(corners):
        result[corners] = values
    else:
        return None
    return result
