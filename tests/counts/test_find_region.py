"""A name, or a colour, means one region; else the error helps."""

from __future__ import annotations

import pytest

from loopwright.counts.find_region import find_region
from loopwright.errors import MarksError
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
