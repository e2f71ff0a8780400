"""The files of a report."""

from __future__ import annotations

from pathlib import Path

PAGE, FIGURES = "index.html", "report.json"


def report_files(folder: Path) -> tuple[Path, Path]:
    """Return the page and the figures that a report in this folder consists of."""
    return folder / PAGE, folder / FIGURES
