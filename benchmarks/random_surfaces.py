"""Random painted sculpts, one per seed: shape, paint, openings and wishes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from benchmarks.random_shapes import Shape, random_shape
from loopwright.options import BuildOptions
from loopwright.types import FloatArray, IntArray, Sculpt

Color = tuple[int, int, int]


@dataclass(frozen=True)
class Case:
    """A sculpt with its wishes; ``story`` tells in a few words what it is."""

    seed: int
    story: str
    sculpt: Sculpt
    options: BuildOptions


@dataclass
class _Paint:
    """Labels while they are painted: (n,) ``label``; ``place`` are the points, mirrored to one side if symmetric."""

    rng: Generator
    place: FloatArray
    size: float
    label: IntArray
    count: int
    story: list[str]

    def fresh(self) -> int:
        """Return a label that is not in use."""
        self.count += 1
        return self.count - 1

    def somewhere(self) -> FloatArray:
        """Return a point of the surface."""
        point: FloatArray = self.place[self.rng.integers(len(self.place))]
        return point

    def distance(self, centre: FloatArray) -> FloatArray:
        """Return (n,) distances to a point as shares of the size."""
        out: FloatArray = np.linalg.norm(self.place - centre, axis=1) / self.size
        return out


def paint_areas(paint: _Paint) -> None:
    """Nearest of several points: the everyday way that regions meet, three at a junction."""
    k = int(paint.rng.choice([2, 3, 5, 8, 13, 20, 30]))
    seeds = np.stack([paint.somewhere() for _ in range(k)])
    wave = 0.04 * paint.size * np.sin(paint.place * paint.rng.uniform(2, 9) / paint.size)
    gap = np.linalg.norm((paint.place + wave)[:, None] - seeds[None], axis=2)
    paint.label = gap.argmin(axis=1).astype(np.int32)
    paint.count = max(paint.count, k)
    paint.story.append(f"areas {k}")


def paint_discs(paint: _Paint) -> None:
    """Discs, apart or overlapping."""
    k = int(paint.rng.integers(1, 6))
    for _ in range(k):
        paint.label[paint.distance(paint.somewhere()) < paint.rng.uniform(0.05, 0.22)] = paint.fresh()
    paint.story.append(f"discs {k}")


def paint_rings(paint: _Paint) -> None:
    """Rings in rings about a point."""
    away = paint.distance(paint.somewhere())
    k, width = int(paint.rng.integers(2, 6)), paint.rng.uniform(0.02, 0.07)
    for i in range(k, 0, -1):
        paint.label[away < width * i] = paint.fresh()
    paint.story.append(f"rings {k} x {width:.3f}")


def paint_sectors(paint: _Paint) -> None:
    """Wedges of a disc: junctions of four, five and more."""
    centre = paint.somewhere()
    off = paint.place - centre
    first = paint.rng.normal(size=3)
    first /= np.linalg.norm(first)
    second = np.cross(first, paint.rng.normal(size=3))
    second /= np.linalg.norm(second)
    k = int(paint.rng.choice([3, 4, 4, 5, 5, 6]))
    turn = (np.arctan2(off @ second, off @ first) / (2 * np.pi) * k).astype(int) % k
    inside = paint.distance(centre) < paint.rng.uniform(0.15, 0.4)
    for i in range(k):
        paint.label[inside & (turn == i)] = paint.fresh()
    paint.story.append(f"sectors {k}")


def paint_checks(paint: _Paint) -> None:
    """A chessboard of boxes in space: regions that touch in points, junctions of four."""
    step = paint.rng.uniform(0.12, 0.4) * paint.size
    cell = np.floor((paint.place + paint.rng.uniform(0, 9, 3)) / step).astype(int)
    one, two = paint.fresh(), paint.fresh()
    odd = cell[:, :2].sum(axis=1) % 2 == 1
    inside = paint.distance(paint.somewhere()) < paint.rng.uniform(0.2, 0.8)
    paint.label[inside] = np.where(odd, one, two)[inside]
    paint.story.append(f"checks {step / paint.size:.2f}")


def paint_slivers(paint: _Paint) -> None:
    """Long narrow bands."""
    k = int(paint.rng.integers(1, 4))
    for _ in range(k):
        normal = paint.rng.normal(size=3)
        height = (paint.place - paint.somewhere()) @ normal / np.linalg.norm(normal) / paint.size
        wavy = height + 0.05 * np.sin(6 * paint.place[:, 1] / paint.size)
        near = paint.distance(paint.somewhere()) < paint.rng.uniform(0.2, 1.0)
        paint.label[near & (np.abs(wavy) < paint.rng.uniform(0.004, 0.02))] = paint.fresh()
    paint.story.append(f"slivers {k}")


def paint_touching(paint: _Paint) -> None:
    """Two discs that touch in about a point."""
    radius = paint.rng.uniform(0.06, 0.15)
    first = paint.somewhere()
    away = paint.distance(first)
    second = paint.place[np.abs(away - 2 * radius * paint.rng.uniform(0.97, 1.03)).argmin()]
    one = paint.fresh()
    paint.label[away < radius] = one
    paint.label[paint.distance(second) < radius] = one if paint.rng.random() < 0.3 else paint.fresh()
    paint.story.append("touching")


def paint_specks(paint: _Paint) -> None:
    """Dots that are too small to be meant, or nearly so."""
    k = int(paint.rng.integers(3, 25))
    label = paint.fresh()
    for _ in range(k):
        paint.label[paint.distance(paint.somewhere()) < paint.rng.uniform(0.004, 0.03)] = label
    paint.story.append(f"specks {k}")


def paint_speckle(paint: _Paint) -> None:
    """Single vertices of other colours, as a spray gives."""
    share = paint.rng.uniform(0.002, 0.04)
    picked = paint.rng.random(len(paint.label)) < share
    paint.label[picked] = paint.rng.integers(0, paint.count, int(picked.sum()))
    paint.story.append(f"speckle {share:.3f}")


def paint_opening(paint: _Paint) -> list[int]:
    """Discs that stay open; returns their label."""
    label = paint.fresh()
    for _ in range(int(paint.rng.integers(1, 4))):
        paint.label[paint.distance(paint.somewhere()) < paint.rng.uniform(0.09, 0.16)] = label
    paint.story.append("opening")
    return [label]


OVERLAYS = (
    paint_discs,
    paint_discs,
    paint_rings,
    paint_sectors,
    paint_checks,
    paint_slivers,
    paint_touching,
    paint_specks,
    paint_speckle,
)


def make_case(seed: int, *, is_quick: bool = False) -> Case:
    """Return the case of a seed; the same seed always gives the same case, a quick one with few faces."""
    rng = np.random.default_rng(seed)
    is_symmetric = bool(rng.random() < 0.45)
    shape = random_shape(rng, is_symmetric)
    mirror = "auto" if rng.random() < 0.8 else "none"
    story = [shape.name, "symmetric" if shape.is_symmetric else "one-sided", f"mirror {mirror}"]
    opened: list[int] = []
    colors: NDArray[np.uint8] | None = None
    palette = random_palette(rng, 60)
    if rng.random() < 0.92:
        paint = _start(shape, rng, story)
        if rng.random() < 0.6:
            paint_areas(paint)
        for _ in range(int(rng.integers(0, 4))):
            OVERLAYS[rng.integers(len(OVERLAYS))](paint)
        if rng.random() < 0.35:
            opened = paint_opening(paint)
        colors = brush(palette[paint.label % len(palette)], shape.triangles, _softness(rng, story))
    else:
        story.append("unpainted")
    budget = int(np.exp(rng.uniform(np.log(300), np.log(3000))))
    options = BuildOptions(
        budget=min(budget, 300 + budget // 8) if is_quick else budget,
        leave_open=tuple((int(c[0]), int(c[1]), int(c[2])) for c in palette[opened]),
        mirror="none" if mirror == "none" else "auto",
        proxy_faces=4000 if is_quick else int(rng.choice([5000, 8000, 12000])),
        fit_limit=bool(rng.random() < 0.2) and not is_quick,
    )
    sculpt = Sculpt(np.ascontiguousarray(shape.positions), shape.triangles, colors, f"random {seed}")
    return Case(seed, f"{', '.join(story)}; budget {options.budget}", sculpt, options)


def _start(shape: Shape, rng: Generator, story: list[str]) -> _Paint:
    place = shape.positions * np.array([1.0, 1.0, 1.0])
    if shape.is_symmetric and rng.random() < 0.85:
        place[:, 0] = np.abs(place[:, 0])
    size = float(np.ptp(shape.positions, axis=0).max())
    return _Paint(rng, place, size, np.zeros(len(place), np.int32), 1, story)


def _softness(rng: Generator, story: list[str]) -> int:
    rounds = int(rng.choice([0, 0, 1, 3]))
    if rounds:
        story.append(f"soft {rounds}")
    return rounds


def random_palette(rng: Generator, count: int) -> NDArray[np.uint8]:
    """Return (count, 3) colours, any two at least 45 apart in RGB where that is possible."""
    chosen: list[FloatArray] = [rng.uniform(30, 225, 3)]
    least = 60.0
    while len(chosen) < count:
        trial = rng.uniform(10, 245, (40, 3))
        gap = np.linalg.norm(trial[:, None] - np.array(chosen)[None], axis=2).min(axis=1)
        if gap.max() >= least:
            chosen.append(trial[gap.argmax()])
        else:
            least = max(least - 3.0, 0.0)
    return np.rint(chosen).astype(np.uint8)


def brush(colors: NDArray[np.uint8], triangles: IntArray, rounds: int) -> NDArray[np.uint8]:
    """Soften colours over ``rounds`` rings of neighbours."""
    out = colors.astype(float)
    for _ in range(rounds):
        total, weight = out.copy(), np.ones(len(out))
        for i, j in ((0, 1), (1, 2), (2, 0), (1, 0), (2, 1), (0, 2)):
            np.add.at(total, triangles[:, i], out[triangles[:, j]])
            np.add.at(weight, triangles[:, i], 1.0)
        out = total / weight[:, None]
    soft: NDArray[np.uint8] = np.rint(out).astype(np.uint8)
    return soft
