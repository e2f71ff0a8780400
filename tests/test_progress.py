"""A stage of several steps tells its progress as one, which never falls; it can be cancelled in each."""

from __future__ import annotations

import pytest
from tests.test_pipeline import QUICK, pebble

from loopwright.errors import Cancelled
from loopwright.pipeline import build
from loopwright.progress import in_parts


def test_steps_are_parts_of_the_whole_and_going_back_is_not_told() -> None:
    told: list[tuple[str, float]] = []
    tell = in_parts(lambda *said: told.append(said), "fit", {"lay": (0.0, 0.5), "touch": (0.5, 1.0)})
    for step, done in (("lay", 0.5), ("lay", 1.0), ("touch", 0.0), ("lay", 0.2), ("unknown", 1.0), ("touch", 1.0)):
        tell(step, done)
    assert told == [("fit", 0.25), *[("fit", 0.5)] * 4, ("fit", 1.0)]


def test_laying_the_mesh_on_tells_one_rising_progress() -> None:
    told: list[float] = []
    build(pebble(), options=QUICK, progress=lambda stage, done: told.append(done) if stage == "fit" else None)
    assert len(told) > 5 and told == sorted(told)
    assert 0.0 <= told[0] < 0.2 and 0.8 < told[-1] <= 1.0


@pytest.mark.parametrize("share", [0.2, 0.55, 0.85])
def test_each_of_its_steps_can_be_cancelled(share: float) -> None:
    def stop(stage: str, done: float) -> None:
        if stage == "fit" and done >= share:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        build(pebble(), options=QUICK, progress=stop)
