"""Freeze the case of a seed in a file, so that it stays the same when the generator changes.

python -m benchmarks.freeze_case 85 tests/repro/sheet_corners.npz
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from benchmarks.random_surfaces import Case, make_case
from loopwright.options import BuildOptions
from loopwright.types import Sculpt

WISHES = ("budget", "leave_open", "mirror", "mirror_shape", "proxy_faces", "fit_limit")


def freeze_case(case: Case, path: Path) -> None:
    """Write a case; positions keep all digits: rounded to single precision, one failed no more."""
    sculpt = case.sculpt
    none = np.zeros((0, 3), np.uint8)
    colors = none if sculpt.colors is None else sculpt.colors
    wishes = {name: getattr(case.options, name) for name in WISHES}
    story = json.dumps({"seed": case.seed, "story": case.story, "wishes": wishes})
    np.savez_compressed(
        path, story=np.array(story), positions=sculpt.positions, triangles=sculpt.triangles, colors=colors
    )


def thaw_case(path: Path) -> Case:
    """Read a case back."""
    with np.load(path) as data:
        told = json.loads(str(data["story"]))
        colors = data["colors"] if len(data["colors"]) else None
        sculpt = Sculpt(data["positions"].astype(np.float64), data["triangles"].astype(np.int32), colors, path.stem)
    wishes = told["wishes"]
    wishes["leave_open"] = tuple(tuple(color) for color in wishes["leave_open"])
    return Case(told["seed"], told["story"], sculpt, BuildOptions(**wishes))


if __name__ == "__main__":
    freeze_case(make_case(int(sys.argv[1])), Path(sys.argv[2]))
