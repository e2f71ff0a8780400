"""Tell which pins cost much: poles beside them, or quads far narrower or wider than the sizes there ask for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.counts.added_poles import extra_poles
from loopwright.counts.count_program import SumPin
from loopwright.errors import ConvergenceError
from loopwright.layout.types import Layout, Patch
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, IntArray

Solve = Callable[[tuple[SumPin, ...]], IntArray]
"""Takes pins to the (arcs,) counts that are best with them."""

_DOUBTED = 1.25  # factor between a pinned count and the wished one from which it is looked at
_SUSPECT = 1.1  # the same where poles are added anywhere
_STRETCHED = 1.5  # factor that is told even where no poles come of it
_FAR = 2.0  # factor off the sizes' wish that is told unsolved: rows that run on to elsewhere may well ask for less
_LEAST = 2  # segments off the wish that count at all
_NEAR = " Where several borders bear one name, a place (near) lets a pin be for the one piece nearest to it."
_LOOKED_AT = 3  # pins that are solved without, the farthest from the wish first


@dataclass(frozen=True)
class _Asked:
    """A pin as the artist named it: its sums over arcs and the wished counts, one for each border that it is for."""

    sums: tuple[SumPin, ...]
    wished: tuple[float, ...]

    @property
    def wish(self) -> str:
        return self.sums[0].wish

    @property
    def count(self) -> int:
        return self.sums[0].count * self.sums[0].copies

    @property
    def farthest(self) -> float:
        """The wished count that is farthest from the pinned one."""
        return max(self.wished, key=lambda wished: stretch(self.count, wished))

    @property
    def factor(self) -> float:
        return stretch(self.count, self.farthest)

    @property
    def is_far(self) -> bool:
        """Whether it is told unsolved: it is far from the sizes' wish, and a count nearer to that can be pinned."""
        return self.factor >= _FAR and _allowed(self.farthest, self.sums) != self.count

    def counted(self, counts: IntArray) -> list[int]:
        """The whole mesh's segments on each of the borders with (arcs,) counts."""
        return [int(counts[list(s.arcs)].sum()) * s.copies for s in self.sums]


def stretch(count: float, wished: float) -> float:
    """Return by what factor quads are narrower or wider with a count than with the wished one; 1 where none counts."""
    if abs(count - wished) < _LEAST:
        return 1.0
    return max(count, wished) / max(min(count, wished), 1.0)


def tell_far_pins(counts: IntArray, targets: FloatArray, pins: Sequence[SumPin]) -> list[Finding]:
    """Return a finding for each pin that is far from what the sizes ask for there, without any solving.

    Parameters
    ----------
    counts, targets : (arcs,) whole counts with the pins, and those that the sizes ask for, up to a common factor.
    """
    return [_tell_far(pin) for pin in _asked(counts, targets, pins) if pin.is_far]


def tell_costly_pins(
    layout: Layout, counts: IntArray, targets: FloatArray, pins: tuple[SumPin, ...], solve: Solve
) -> list[Finding]:
    """Return a finding for each pin that costs poles or stretches quads: what it costs, and a count that does not.

    Looked at are pins far from what the sizes ask for, and those at patches
    whose fills have added poles; the counts are solved without them, all at
    once and then each alone. Where none alone costs anything, but all
    together do, they are told together. Where no counts are found without
    them, they are told as by :func:`tell_far_pins`.

    Parameters
    ----------
    counts, targets : as for :func:`tell_far_pins`.
    solve : is called once, or once more for each of up to three pins.
    """
    extra = zip(layout.patches, extra_poles(layout, counts), strict=True)
    beside = {arc for patch, poles in extra if poles for arc in _arcs(patch)}
    doubted = [
        pin
        for pin in _asked(counts, targets, pins)
        if pin.factor >= (_SUSPECT if beside else _DOUBTED) or any(beside & set(s.arcs) for s in pin.sums)
    ]
    doubted = sorted(doubted, key=lambda pin: (-pin.factor, pin.wish))
    looked_at, rest = doubted[:_LOOKED_AT], doubted[_LOOKED_AT:]
    far = [_tell_far(pin) for pin in rest if pin.is_far]
    if not looked_at:
        return far
    return [*_Bill(layout, counts, pins, solve).tell_all(looked_at), *far]


@dataclass(frozen=True)
class _Bill:
    """What pins cost against counts without them."""

    layout: Layout
    counts: IntArray
    pins: tuple[SumPin, ...]
    solve: Solve

    def tell_all(self, pins: Sequence[_Asked]) -> list[Finding]:
        """Return what some pins cost, each alone if it costs anything alone."""
        try:
            together = self._tell(pins)
        except ConvergenceError:
            return [_tell_far(pin) for pin in pins if pin.is_far]
        if together is None or len(pins) == 1:
            return [together] if together else []
        alone, unsolved = [], []
        for pin in pins:
            try:
                alone.append(self._tell([pin]))
            except ConvergenceError:
                unsolved.append(pin)
        found = [told for told in alone if told]
        return [*found, *(_tell_far(pin) for pin in unsolved if pin.is_far)] if found else [together]

    def _tell(self, freed: Sequence[_Asked]) -> Finding | None:
        """Return what the counts without some pins save; None where that is little."""
        gone = {s for pin in freed for s in pin.sums}
        free = self.solve(tuple(p for p in self.pins if p not in gone))
        poles = self._poles(self.counts) - self._poles(free)
        pairs = [(pin.count, n) for pin in freed for n in pin.counted(free)]
        if all(n == count for count, n in pairs):
            return None  # the solver found others as good; another count would free nothing
        one = len(freed) == 1
        costs = [f"{'costs' if one else 'together cost'} {plural(poles, 'pole')}"] if poles > 0 else []
        if max(stretch(*pair) for pair in pairs) >= (_DOUBTED if poles > 0 else _STRETCHED):
            costs.append(f"{'makes' if one else 'make'} quads there {_how_stretched(pairs)} as without")
        if not costs:
            return None
        names = ", ".join(pin.wish for pin in freed)
        ways = ", ".join(f"{pin.sums[0].name}={_listed(pin, free)}" for pin in freed)
        more = f", with {plural(-poles, 'pole')} more" if poles < 0 else ""
        text = f"The {'pin' if one else 'pins'} {names} {' and '.join(costs)}: {ways} would be free of that{more}."
        several = any(len(set(pin.counted(free))) > 1 for pin in freed)
        return Finding("pin_costly", text + (_NEAR if several else ""), max(poles, 0))

    def _poles(self, counts: IntArray) -> int:
        return (1 if self.layout.surface.mirror is None else 2) * sum(extra_poles(self.layout, counts))


def _how_stretched(pairs: Sequence[tuple[int, int]]) -> str:
    """Say how much narrower or wider quads are, from counts with and without pins."""
    ways = {"narrow" if count > free else "wide" for count, free in pairs if stretch(count, free) > 1}
    return f"{_times(max(stretch(*pair) for pair in pairs))} times as {' or '.join(sorted(ways))}"


def _listed(pin: _Asked, counts: IntArray) -> str:
    return " and ".join(dict.fromkeys(map(str, pin.counted(counts))))


def _times(factor: float) -> str:
    return f"{factor:.1f}" if factor < 9.95 else f"{factor:.0f}"


def _tell_far(pin: _Asked) -> Finding:
    how = "narrow" if pin.count > pin.farthest else "wide"
    each = [_allowed(wished, (s,)) for wished, s in zip(pin.wished, pin.sums, strict=True)]
    several = stretch(min(each), max(each)) >= _DOUBTED
    about = list(dict.fromkeys(each)) if several else [_allowed(pin.farthest, pin.sums)]
    segments = "segment" if about == [1] else "segments"
    text = (
        f"The pin {pin.wish} makes quads {_times(pin.factor)} times as {how} as the sizes there ask for; about "
        f"{' and '.join(map(str, about))} {segments} would suit them."
    )
    return Finding("pin_far", text + (_NEAR if several else ""))


def _allowed(wished: float, sums: Sequence[SumPin]) -> int:
    """Return the whole mesh's count nearest to a wished one that all of some borders can be pinned to."""
    copies = max(s.copies for s in sums)
    least = max(len(s.arcs) * s.copies for s in sums)
    return copies * max(round(wished / copies), -(-least // copies))


def _asked(counts: IntArray, targets: FloatArray, pins: Sequence[SumPin]) -> list[_Asked]:
    """Return the pins by name; the wished counts are brought to the scale of those that no pin decides."""
    free = np.ones(len(counts), bool)
    for pin in pins:
        free[list(pin.arcs)] = False
    scale = float(counts[free].sum() / targets[free].sum()) if free.any() else 1.0
    named: dict[str, list[SumPin]] = {}
    for pin in pins:
        named.setdefault(pin.wish, []).append(pin)
    return [
        _Asked(tuple(sums), tuple(scale * s.copies * float(targets[list(s.arcs)].sum()) for s in sums))
        for sums in named.values()
    ]


def _arcs(patch: Patch) -> set[int]:
    return {arc for side in patch.sides for arc, _ in side}
