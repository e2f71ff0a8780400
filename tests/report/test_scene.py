"""What the pictures of a report show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopwright.report.compose_scene import compose_scene
from loopwright.report.measure_distance import measure_distance

if TYPE_CHECKING:
    from tests.report.conftest import Build


def test_through_openings_no_heat_of_the_far_side_is_seen(build: Build) -> None:
    measured = measure_distance(build.sculpt, build.mesh)
    scene = compose_scene(build.sculpt, build.surface, build.layout, build.mesh, measured, 0.01)
    # a solid that is open shows its inner side in one dark grey, not in the colours of its outside
    for name in ("mesh", "pale", "regions", "heat_mesh"):
        assert scene.solids[name].is_open, name
