"""Findings in the pictures: a ring round each place, and beside it the finding's number in the list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from html import escape

from loopwright.report.find_places import KIND
from loopwright.report.picture import DrawnPicture, PlacedMark

_BOX = 1000.0  # the picture's width and height
_RING = 13.0  # radius
_NEAR = 20.0  # places nearer to one another than that share a ring
_HEIGHT, _LETTER, _PAD = 32.0, 15.0, 14.0  # of the field that holds the numbers
_FAR = 30.0  # from a ring to the middle of its field, along both axes
_FILL, _INK = "#ffe04a", "#16191d"
_CORNERS = ((1, -1), (-1, -1), (1, 1), (-1, 1))

_Box = tuple[float, float, float, float]


def show_findings(marks: Iterable[PlacedMark]) -> str:
    """Return rings and numbers as SVG for a picture 1,000 wide; places that fall together share one ring."""
    spots = _joined([mark for mark in marks if mark.kind == KIND])
    taken: list[_Box] = [_box(spot.left * _BOX, spot.top * _BOX, _RING, _RING) for spot in spots]
    rings, fields = [], []
    for spot in spots:
        x, y = spot.left * _BOX, spot.top * _BOX
        box = _free_box(spot.text, x, y, taken)
        taken.append(box)
        rings.append(_ring(x, y))
        fields.append(_field(spot.text, box))
    return "".join(rings + fields)


def show_finding_legend(drawn: Sequence[DrawnPicture], prefixes: tuple[str, ...]) -> str:
    """Return what rings mean, if any of the pictures whose names begin so has one."""
    chosen = [each for each in drawn if each.picture.name.startswith(prefixes)]
    if not any(mark.kind == KIND for each in chosen for mark in each.marks):
        return ""
    ring = f'<svg viewBox="-19 -19 38 38" aria-hidden="true">{_ring(0, 0)}</svg>'
    return f'<ul class="legend"><li>{ring}place of a finding, with its number in the list at the top</li></ul>'


def marked_numbers(drawn: Sequence[DrawnPicture]) -> set[str]:
    """Return the numbers of the findings that some picture shows."""
    return {mark.text for each in drawn for mark in each.marks if mark.kind == KIND}


def _joined(marks: Sequence[PlacedMark]) -> list[PlacedMark]:
    """Return the marks with those that fall together made one, which bears all their numbers."""
    out: list[PlacedMark] = []
    for mark in marks:
        for k, other in enumerate(out):
            if max(abs(mark.left - other.left), abs(mark.top - other.top)) * _BOX < _NEAR:
                if mark.text not in other.text.split(", "):
                    out[k] = replace(other, text=f"{other.text}, {mark.text}")
                break
        else:
            out.append(mark)
    return out


def _free_box(text: str, x: float, y: float, taken: Sequence[_Box]) -> _Box:
    """Return left, top, right and bottom of a field beside a ring, in the picture and over no other if it can be."""
    half = (_PAD + _LETTER * len(text)) / 2
    boxes = []
    for right, down in _CORNERS:
        boxes.append(_box(x + right * (_FAR - _HEIGHT / 2 + half), y + down * _FAR, half, _HEIGHT / 2))
    inside = [box for box in boxes if min(box) >= 0.0 and max(box) <= _BOX] or boxes
    return next((box for box in inside if not any(_overlap(box, other) for other in taken)), inside[0])


def _box(x: float, y: float, half_width: float, half_height: float) -> _Box:
    return x - half_width, y - half_height, x + half_width, y + half_height


def _overlap(one: _Box, other: _Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _ring(x: float, y: float) -> str:
    return "".join(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_RING}" fill="none" stroke="{color}" stroke-width="{width}"/>'
        for color, width in ((_INK, 8), (_FILL, 4))
    )


def _field(text: str, box: _Box) -> str:
    left, top, right, bottom = box
    return (
        f'<rect class="finding" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}" '
        f'rx="8" fill="{_FILL}" stroke="{_INK}" stroke-width="2.5"/><text x="{(left + right) / 2:.1f}" '
        f'y="{bottom - 7.5:.1f}" text-anchor="middle" font-size="25" font-weight="700" fill="{_INK}">'
        f"{escape(text)}</text>"
    )
