"""What is told of drawn lines as they are cut in, and what still holds of it when pockets are closed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from loopwright.types import Finding, FloatArray, IntArray
from loopwright.wishes import FlowLine

LEFT_OUT = "line_left_out"
Edge = tuple[int, int]


@dataclass
class ToldLines:
    """Findings on lines, each with the number of the cutter's ``line_of`` that it is about.

    A way by which a line is carried on has a number of its own.
    """

    _told: list[tuple[int, Finding]] = field(default_factory=list)

    def loose(self, number: int, name: str) -> None:
        """Note that a line ends on its own."""
        text = f"{name} ends on its own: nothing lies ahead of it that it could run to."
        self._told.append((number, Finding("line_loose", text, names=(name,))))

    def broken(self, number: int, name: str) -> None:
        """Note that a line could not be followed to its end."""
        text = f"{name} could not be followed to its end: draw it with more points where it turns sharply."
        self._told.append((number, Finding("line_broken", text, names=(name,))))

    def carried(self, number: int, name: str, way: FloatArray, length: float) -> None:
        """Note on which (k, 3) way, and how far, a loose end was carried on."""
        end, met = (_at(place) for place in (way[0], way[-1]))
        text = f"{name} had a loose end at {end}; it was carried on by {length:.3g} to what lies ahead, at {met}."
        self._told.append((number, Finding("line_carried_on", text, names=(name,))))

    def tell(
        self,
        lines: Sequence[FlowLine],
        names: Mapping[int, str],
        line_of: Mapping[Edge, int],
        before: IntArray,
        after: IntArray,
    ) -> list[Finding]:
        """Return what holds: of a line that is gone only that it is, and no way on that is gone.

        Parameters
        ----------
        lines : as drawn.
        names : of the line that each number stands for.
        line_of : the number of each flow edge, smaller vertex first.
        before, after : (k, 2) flow edges before and after pockets were closed.
        """
        had, left = (_numbers(edges, line_of) for edges in (before, after))
        gone = {names.get(n, "") for n in had} - {names.get(n, "") for n in left}
        ended = {name for _, finding in self._told if finding.kind == "line_loose" for name in finding.names}
        out = [
            finding
            for number, finding in self._told
            if not gone & set(finding.names) and (finding.kind != "line_carried_on" or number in left)
        ]
        return out + [_left_out(line, line.name in ended) for line in lines if line.name in gone]


def names_left_out(findings: Iterable[Finding]) -> set[str]:
    """Return the names of lines of which findings tell that they were left out."""
    return {name for finding in findings if finding.kind == LEFT_OUT for name in finding.names}


def _numbers(edges: IntArray, line_of: Mapping[Edge, int]) -> set[int]:
    pairs = ((a, b) if a < b else (b, a) for a, b in edges.tolist())
    return {line_of[pair] for pair in pairs if pair in line_of}


def _left_out(line: FlowLine, is_loose: bool) -> Finding:
    if is_loose:
        why = "it ends on its own, and nothing lies ahead of it that it could run to; draw it on to something"
    else:
        why = (
            "all that it shuts in, with itself, a border or another line, is less than a face; draw it simpler and "
            "larger, or ask for smaller edges there"
        )
    at = _at(line.points[len(line.points) // 2])
    return Finding(LEFT_OUT, f"{line.name} was left out near {at}: {why}.", names=(line.name,))


def _at(place: Sequence[float] | FloatArray) -> str:
    return "({:.4g}, {:.4g}, {:.4g})".format(*place)
