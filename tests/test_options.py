"""Wishes that the program fills in by itself."""

from __future__ import annotations

import pytest

from loopwright import BuildOptions
from loopwright.errors import MarksError


def test_a_finer_mesh_is_planned_on_a_finer_proxy_unless_its_size_is_asked_for() -> None:
    coarse, fine = BuildOptions(budget=6000).planning_faces, BuildOptions(budget=6001).planning_faces
    assert 6 * 6000 <= coarse < fine
    assert BuildOptions(budget=10_000, proxy_faces=30_000).planning_faces == 30_000


@pytest.mark.parametrize("faces", [0, 1_999, 1_000_001])
def test_a_proxy_of_no_use_is_refused(faces: int) -> None:
    with pytest.raises(MarksError, match="proxy_faces is"):
        BuildOptions(proxy_faces=faces)
