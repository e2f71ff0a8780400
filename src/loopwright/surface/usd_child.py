"""The child process that unpacks a USD stage into plain arrays."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np


def main() -> None:
    """Read the stage ``argv[1]`` and write ``contents.json`` and arrays into the folder ``argv[2]``."""
    try:
        contents = unpack_stage(sys.argv[1], Path(sys.argv[2]))
    except Exception:  # whatever the library raised: the parent has one sentence for it
        sys.exit(1)
    (Path(sys.argv[2]) / "contents.json").write_text(json.dumps(contents, allow_nan=False), "utf-8")


def unpack_stage(path: str, folder: Path) -> list[dict[str, Any]]:
    """Write the arrays of every visible mesh of a stage and return where they are."""
    from pxr import Usd, UsdGeom  # type: ignore[import-not-found,unused-ignore]

    stage = Usd.Stage.Open(path)
    cache = UsdGeom.XformCache()
    contents: list[dict[str, Any]] = []
    for prim in stage.Traverse(Usd.TraverseInstanceProxies()):
        mesh = UsdGeom.Mesh(prim)
        if not mesh or mesh.ComputeVisibility() == UsdGeom.Tokens.invisible:
            continue
        arrays: dict[str, Any] = {
            "points": np.array(mesh.GetPointsAttr().Get() or [], np.float32),
            "sizes": np.array(mesh.GetFaceVertexCountsAttr().Get() or [], np.int64),
            "corners": np.array(mesh.GetFaceVertexIndicesAttr().Get() or [], np.int64),
            "matrix": np.array(cache.GetLocalToWorldTransform(prim), np.float64),
        }
        colors = UsdGeom.PrimvarsAPI(prim).GetPrimvar("displayColor")
        has_colors = bool(colors) and colors.HasValue()
        if has_colors:
            arrays["colors"] = np.array(colors.ComputeFlattened(), np.float64)
        files = {key: f"{len(contents)}_{key}.npy" for key in arrays}
        for key, file in files.items():
            np.save(folder / file, arrays[key], allow_pickle=False)
        contents.append(
            {
                "prim": str(prim.GetPath()),
                "arrays": files,
                "interpolation": str(colors.GetInterpolation()) if has_colors else "",
                "left_handed": mesh.GetOrientationAttr().Get() == UsdGeom.Tokens.leftHanded,
            }
        )
    return contents
