"""A name, or a colour, means one region; else the error helps."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.counts.find_region import find_region
from loopwright.edit.change_regions import merge_regions
from loopwright.errors import MarksError
from loopwright.surface.read_quads import read_quad_mesh
from loopwright.types import Region

REGIONS = (Region("lips", (190, 60, 120)), Region("#96cd8c", (150, 205, 140)), Region("be3c79", (1, 2, 3)))


@pytest.mark.parametrize(
    ("name", "index"),
    [("lips", 0), ("#be3c78", 0), ("be3c78", 0), ("BE3C78", 0), ("96cd8c", 1), ("#96CD8C", 1), ("be3c79", 2)],
)
def test_names_and_colours(name: str, index: int) -> None:
    assert find_region(REGIONS, name) == index


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("lisp", 'the regions are lips, #96cd8c, be3c79; did you mean "lips"?'),
        ("Lips", 'did you mean "lips"?'),
        ("#96cd8d", 'did you mean "#96cd8c"?'),
        ("nose", "be3c79."),
    ],
)
def test_a_name_that_no_region_has(name: str, said: str) -> None:
    with pytest.raises(MarksError, match=f'There is no region "{name}"') as caught:
        find_region(REGIONS, name)
    assert str(caught.value).endswith(said) and caught.value.places == (name,)


def test_a_colour_of_two_regions_means_none() -> None:
    with pytest.raises(MarksError):
        find_region((Region("a", (9, 9, 9)), Region("b", (9, 9, 9))), "090909")


# an OBJ group name cannot hold "#": a mesh that was written and read again has "_806246" and a colour of no meaning
FROM_FILE = (Region("_806246", (1, 2, 3)), Region("_ffffff", (4, 5, 6)), Region("upper_lip", (7, 8, 9)))


@pytest.mark.parametrize("name", ["#806246", "806246", "_806246"])
def test_a_colour_means_its_group_in_a_mesh_file_and_the_other_way_round(name: str) -> None:
    assert find_region(FROM_FILE, name) == 0
    assert find_region((Region("skin", (1, 1, 1)), Region("#806246", (128, 98, 70))), name) == 1


def test_a_name_means_its_group_in_a_mesh_file() -> None:
    assert find_region(FROM_FILE, "upper lip") == 2


def test_edits_name_regions_of_a_mesh_file_by_colour(tmp_path: Path) -> None:
    path = tmp_path / "two.obj"
    vertices = "".join(f"v {x} {y} 0\n" for y in (0, 1) for x in (0, 1, 2))
    path.write_text(f"{vertices}g _806246\nf 1 2 5 4\ng _c0ffee\nf 2 3 6 5\n", encoding="ascii")
    mesh = read_quad_mesh(path)
    merged = merge_regions(mesh, ("#806246", "#c0ffee"))
    assert [region.name for region in merged.regions] == ["_806246"]


def test_where_there_is_one_region_it_is_the_only_one() -> None:
    with pytest.raises(MarksError, match=r'There is no region "lips"; the only region is all\.'):
        find_region((Region("all", (0, 0, 0)),), "lips")
