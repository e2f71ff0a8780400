"""Imports run down one list: a part may use itself and what stands above it, never what stands below."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import loopwright

PACKAGE = Path(loopwright.__file__).parent
LIST = (
    (
        "types",
        "errors",
        "progress",
        "wishes",
        "edit_wishes",
        "check_wishes",
        "options",
        "write_file",
        "write_json",
        "fingerprint",
        "shelf",
    ),
    ("numerics",),
    ("patterns",),
    ("surface",),
    ("marks",),
    ("layout",),
    ("counts",),
    ("quads",),
    ("fit",),
    ("edit",),
    ("detail",),
    ("reuse",),
    ("handover",),
    ("results", "stages"),
    ("pipeline",),
    ("session",),
    ("demo", "report"),
    ("rehearse",),
    ("cli", "studio", "batch"),
)
LEVEL = {part: level for level, parts in enumerate(LIST) for part in parts}
FREE = ("__init__", "__main__")
FILES = sorted(PACKAGE.rglob("*.py"))


def part_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imported_parts(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and part of every import of the package, also inside functions."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module == "loopwright":
            names = [f"loopwright.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module is not None:
            names = [node.module]
        else:
            continue
        for name in names:
            pieces = name.split(".")
            if pieces[0] == "loopwright" and len(pieces) > 1 and pieces[1] != "__version__":
                yield node.lineno, pieces[1]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_run_down_the_list(path: Path) -> None:
    part = part_of(path)
    if part in FREE:
        return
    assert part in LEVEL, f"{part} has no place in the list"
    for line, used in imported_parts(path.read_text(encoding="utf-8")):
        same_level_but_other = LEVEL[used] == LEVEL[part] and used != part and LEVEL[part] > 0
        assert LEVEL[used] <= LEVEL[part] and not same_level_but_other, f"{path.name}:{line} imports {used}"


def test_the_check_sees_imports_inside_functions() -> None:
    source = "def f():\n    from loopwright.cli.main import main\n    import loopwright.report\n"
    assert list(imported_parts(source)) == [(2, "cli"), (3, "report")]


def test_no_relative_imports() -> None:
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            assert not (isinstance(node, ast.ImportFrom) and node.level > 0), f"{path}:{node.lineno}"


def test_importing_the_package_loads_no_library() -> None:
    libraries = "('numpy', 'scipy', 'lagrange', 'igl', 'vtkmodules')"
    code = f"import loopwright, sys; print([name for name in {libraries} if name in sys.modules])"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert shown.strip() == "[]"


@pytest.mark.parametrize("name", [name for name in loopwright.__all__ if name != "__version__"])
def test_every_public_name_loads(name: str) -> None:
    assert getattr(loopwright, name) is not None
    assert name in dir(loopwright)


def test_the_lazy_names_are_those_that_are_promised() -> None:
    assert set(loopwright.__all__) == {"__version__", *loopwright._HOME_OF_NAME}


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        loopwright.nothing  # noqa: B018
