"""Have the pictures drawn by a process of its own, whatever its graphics driver does."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

import loopwright
from loopwright.progress import Progress, silent
from loopwright.report.picture import DrawnPicture, PlacedMark, Scene, save_scene
from loopwright.types import Finding

_TRIES: tuple[Mapping[str, str], ...] = ({}, {"VTK_DEFAULT_OPENGL_WINDOW": "vtkOSOpenGLRenderWindow"})
"""The environment of each try: the machine's own graphics first, then drawing by the processor alone."""
_SECONDS_A_PICTURE = 30.0
_SECONDS_TO_START = 90.0


def run_drawing(
    scene: Scene, *, progress: Progress = silent, stage: str = "draw the pictures"
) -> tuple[tuple[DrawnPicture, ...], tuple[Finding, ...]]:
    """Draw the pictures of a scene in a child process.

    Returns
    -------
    The pictures that were drawn, and a finding if any could not be: a missing or broken graphics driver is no
    reason to lose a mesh.
    """
    with tempfile.TemporaryDirectory(prefix="loopwright-pictures-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        save_scene(folder, scene)
        words = "no try was made"
        for environment in _TRIES:
            words = _run_child(folder, len(scene.pictures), environment, progress, stage)
            drawn = _collect(folder, scene)
            if len(drawn) == len(scene.pictures):
                return drawn, ()
    text = (
        f"{len(scene.pictures) - len(drawn)} of {len(scene.pictures)} pictures could not be drawn on this machine "
        f"({words}); the mesh and all figures are not affected"
    )
    return drawn, (Finding("pictures_missing", text, len(scene.pictures) - len(drawn)),)


def _run_child(folder: Path, count: int, environment: Mapping[str, str], progress: Progress, stage: str) -> str:
    """Run one child to its end and return how it ended, in words."""
    command = [sys.executable, "-m", "loopwright.report.draw_pictures", str(folder)]
    with (folder / "words.txt").open("wb") as words:
        child = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=words, stderr=words, env=_environment(environment)
        )
    deadline = time.monotonic() + _SECONDS_TO_START + _SECONDS_A_PICTURE * count
    try:
        while child.poll() is None:
            progress(stage, sum(1 for _ in folder.glob("*.jpg")) / max(count, 1))
            if time.monotonic() > deadline:
                return "the drawing took too long"
            time.sleep(0.05)
    finally:
        if child.poll() is None:
            child.kill()
        child.wait()
    return _tell_end(child.returncode, folder / "words.txt")


def _environment(more: Mapping[str, str]) -> dict[str, str]:
    """Return this process's environment with what the child needs to find the same package."""
    here = str(Path(loopwright.__file__).resolve().parents[1])
    paths = [here, *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONWARNINGS": "default", **more}


def _tell_end(code: int, words: Path) -> str:
    if code < 0:
        return f"the graphics driver crashed with signal {-code}"
    lines = words.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    return lines[-1][:200] if lines else f"the drawing ended with code {code}"


def _collect(folder: Path, scene: Scene) -> tuple[DrawnPicture, ...]:
    """Return the pictures whose files are whole: the marks are written last."""
    drawn = []
    for picture in scene.pictures:
        image, marks = folder / f"{picture.name}.jpg", folder / f"{picture.name}.json"
        try:
            placed = tuple(PlacedMark(**mark) for mark in json.loads(marks.read_text(encoding="utf-8")))
            drawn.append(DrawnPicture(picture, image.read_bytes(), placed))
        except (OSError, ValueError):
            continue
    return tuple(drawn)
