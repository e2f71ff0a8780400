"""Trees of points are never built by medians: that does not end on denormal coordinates where they are flushed."""

from __future__ import annotations

import ast
from pathlib import Path

import loopwright

SOURCES = sorted(Path(loopwright.__file__).parent.rglob("*.py"))


def trees(path: Path) -> list[ast.Call]:
    """The places of a file where a tree of points is built."""
    calls = (node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call))
    return [call for call in calls if isinstance(call.func, ast.Name) and call.func.id in ("cKDTree", "KDTree")]


def test_no_tree_is_balanced() -> None:
    found = 0
    for path in SOURCES:
        for call in trees(path):
            given = {key.arg: ast.unparse(key.value) for key in call.keywords}
            assert given.get("balanced_tree") == "False", f"{path.name}:{call.lineno}"
            found += 1
    assert found > 20
