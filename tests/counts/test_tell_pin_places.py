"""Places of pins far from their border are told with the distance, those near it are not."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import SURFACES, counts_of, layout_of

from loopwright.counts.count_borders import count_borders
from loopwright.counts.read_pins import border_pins
from loopwright.counts.tell_pin_places import tell_pin_places
from loopwright.errors import MarksError
from loopwright.options import Pin


@pytest.mark.parametrize("name", SURFACES)
def test_places_that_a_plan_tells_are_on_their_borders(name: str) -> None:
    layout = layout_of(name)
    pins = [Pin(*b.between, b.segments, b.near) for b in count_borders(layout, counts_of(name)[0])]
    assert tell_pin_places(layout, pins) == []


@pytest.mark.parametrize("name", ["sphere in rings", "half sphere at a mirror"])
def test_the_distance_of_a_place_off_its_border_is_told_in_units_and_edges(name: str) -> None:
    layout = layout_of(name)
    layout = replace(layout, vertex_size=layout.vertex_size / 4)
    arc = next(a for a in layout.arcs if a.kind == "border" and set(a.sides) == {0, 1})
    on = arc.points[len(arc.points) // 2]
    edge = float(layout.vertex_size.mean())
    out = on / np.linalg.norm(on)  # both surfaces are unit balls about the origin

    def told(height: float) -> list[str]:
        x, y, z = (on + height * out).tolist()
        pins = [Pin("area 0", "area 1", 8, (x, y, z))]
        assert border_pins(layout, pins)
        return [finding.text for finding in tell_pin_places(layout, pins) if finding.kind == "pin_off_border"]

    assert told(0.0) == told(1.5 * edge) == []
    (text,) = told(0.25)
    found = re.search(r"lies ([\d.]+) from the nearest border that it names \(([\d.]+) edges\)", text)
    assert found is not None
    assert float(found[1]) == pytest.approx(0.25, rel=0.01)
    assert float(found[2]) == pytest.approx(0.25 / edge, rel=0.5)
    there = re.search(r"the piece near \(([^)]*)\)", text)
    assert there is not None
    assert np.allclose([float(x) for x in there[1].split(",")], on, atol=1e-3)
    # a tenth of the diagonal of a unit ball is 0.35
    assert told(0.3) != []
    with pytest.raises(MarksError, match="lies 0.4 from.*too far to be meant for it: put near on that b") as caught:
        told(0.4)
    offered = re.search(r"such as at \(([^)]*)\)", str(caught.value))
    assert offered is not None and np.allclose([float(x) for x in offered[1].split(",")], on, atol=1e-3)
    x, y, z = (1.4 * on).tolist()
    assert tell_pin_places(layout_of(name), [Pin("area 0", "area 1", 8, (x, y, z))]) == []  # not two edges off


def test_a_place_behind_the_mirror_plane_counts_as_its_image() -> None:
    layout = layout_of("half sphere at a mirror")
    arc = next(a for a in layout.arcs if a.kind == "border" and set(a.sides) == {0, 1})
    mirror = layout.surface.mirror
    assert mirror is not None
    farthest = arc.points[int(mirror.signed_distance(arc.points).argmax())]
    place = mirror.reflect(farthest[None])
    assert 2.0 * -float(mirror.signed_distance(place)[0]) > 4.0 * layout.vertex_size.max()  # far from the kept half
    x, y, z = place[0].tolist()
    assert tell_pin_places(layout, [Pin("area 0", "area 1", 8, (x, y, z))]) == []
