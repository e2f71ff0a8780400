"""What a person may wish for, and how wishes are read from text.

The command line, the package and the page all hand the same frozen
:class:`BuildOptions` to the corridor.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias, cast, get_args

import numpy as np

from loopwright.check_wishes import check_dabs, check_drawn, check_pin, check_pins, check_poles, check_sizes_agree
from loopwright.edit_wishes import read_operation
from loopwright.errors import MarksError
from loopwright.types import FloatArray
from loopwright.wishes import FixedPoint, FlowLine, PolePin, SizeDab
from loopwright.wishes import Pin as Pin

RGB: TypeAlias = tuple[int, int, int]
Mirror: TypeAlias = Literal["auto", "none", "x", "y", "z"]

SMALLEST_BUDGET = 100
LARGEST_BUDGET = 200_000
_COARSE_BUDGET = 6_000  # up to which the coarse proxy has triangles enough under each face
_COARSE_PROXY, _FINE_PROXY = 40_000, 60_000


@dataclass(frozen=True)
class BuildOptions:
    """The wishes for one build; every field has a default.

    Raises
    ------
    MarksError
        If a value is out of its range; the message names the field.
    """

    budget: int = 5000
    """Wished number of faces of the whole mesh, both halves counted."""
    leave_open: tuple[RGB, ...] = ()
    """Colours whose areas get no faces: eye openings, a mouth slit, the cut of a neck."""
    sizes: Mapping[str, float] = field(default_factory=dict)
    """Wished edge length by region name, in the sculpt's unit; other regions follow the shape and the budget."""
    pins: tuple[Pin, ...] = ()
    """Fixed segment counts on borders."""
    mirror: Mirror = "auto"
    """Find the mirror plane ("auto"), use none, or the plane through the sculpt's middle across this axis."""
    proxy_faces: int | None = None
    """Triangles of the proxy on which the planning runs; positions are always measured on the full sculpt. None for
    40,000, or 60,000 where the budget is above 6,000."""
    fit_limit: bool = True
    """Move the mesh so that its smooth limit surface lies on the sculpt; else its vertices lie on the sculpt."""
    region_names: Mapping[RGB, str] = field(default_factory=dict)
    """Names for painted colours; a colour without one is named by its hex code, such as ``#c89070``."""
    mirror_shape: bool | None = None
    """Make both halves equal; if False the topology is mirrored, and each side keeps its own shape and paint. None for
    equal halves where the sculpt's are, to within 0.3 of a mesh edge, or are no images of one another at all."""
    lines: tuple[FlowLine, ...] = ()
    """Lines drawn on the sculpt that edges shall follow."""
    points: tuple[FixedPoint, ...] = ()
    """Places where the mesh shall have a vertex."""
    poles: tuple[PolePin, ...] = ()
    """Regions that shall have no poles inside, or some."""
    size_dabs: tuple[SizeDab, ...] = ()
    """Painted edge lengths, later ones over earlier ones; they win over ``sizes``."""
    vertex_sizes: FloatArray | None = field(default=None, compare=False)
    """(n,) wished edge length at each vertex of the sculpt's file, 0 where none is wished; dabs win over it."""
    edits: tuple[Mapping[str, object], ...] = ()
    """Edits of the finished mesh, as plain data: see docs/editing.md."""

    @property
    def planning_faces(self) -> int:
        """Triangles of the proxy: those asked for, else as many as the budget needs."""
        if self.proxy_faces is not None:
            return self.proxy_faces
        return _COARSE_PROXY if self.budget <= _COARSE_BUDGET else _FINE_PROXY

    def __post_init__(self) -> None:
        if not SMALLEST_BUDGET <= self.budget <= LARGEST_BUDGET:
            raise MarksError(
                f"the budget is {self.budget}; it must lie between {SMALLEST_BUDGET} and {LARGEST_BUDGET:,} faces",
            )
        if self.mirror not in get_args(Mirror):
            raise MarksError(f"the mirror is {self.mirror!r}; it must be one of {', '.join(get_args(Mirror))}")
        if self.proxy_faces is not None and not 2_000 <= self.proxy_faces <= 1_000_000:
            raise MarksError(f"proxy_faces is {self.proxy_faces}; it must lie between 2,000 and 1,000,000")
        for region, length in self.sizes.items():
            if not (math.isfinite(length) and length > 0):
                raise MarksError(f"the size of {region} is {length}; it must be a positive length", places=[region])
        check_sizes_agree(tuple(self.sizes.items()), lambda region: call_region(region, self.region_names))
        check_pins(self.pins, call=lambda region: call_region(region, self.region_names))
        check_dabs(self.size_dabs)
        check_drawn(self.lines, self.points)
        check_poles(self.poles)
        for number, edit in enumerate(self.edits, 1):
            read_operation(edit, f"edit {number}")
        if self.vertex_sizes is not None and not (np.isfinite(self.vertex_sizes) & (self.vertex_sizes >= 0)).all():
            raise MarksError("vertex_sizes must hold a length per vertex, or 0 where none is wished")


def format_color(color: RGB) -> str:
    """Return the hex code of a colour, such as ``#141414``."""
    return "#{:02x}{:02x}{:02x}".format(*color)


def parse_color(text: str) -> RGB:
    """Read a colour written as ``#141414``, ``141414``, ``#111`` or ``20,20,20``.

    Raises
    ------
    MarksError
        If the text is none of these.

    Examples
    --------
    >>> parse_color("#141414")
    (20, 20, 20)
    """
    plain = text.strip()
    digits = re.fullmatch(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})", plain)
    if digits:
        code = digits[1] if len(digits[1]) == 6 else "".join(2 * digit for digit in digits[1])
        return int(code[0:2], 16), int(code[2:4], 16), int(code[4:6], 16)
    numbers = re.fullmatch(r"(\d{1,3})\s*,\s*(\d{1,3})\s*,\s*(\d{1,3})", plain)
    if numbers and all(int(number) <= 255 for number in numbers.groups()):
        return cast(RGB, tuple(int(number) for number in numbers.groups()))
    raise MarksError(f'"{text}" is not a colour; write it as "#141414" or "20,20,20"', places=[text])


def parse_size(text: str) -> tuple[str, float]:
    """Read ``REGION=LENGTH`` and return the region's name and the length.

    Raises
    ------
    MarksError
        If the text has another form or the length is not a positive number.
    """
    name, _, value = text.rpartition("=")
    try:
        length = float(value)
    except ValueError:
        length = math.nan
    if not name.strip() or not math.isfinite(length) or length <= 0:
        raise MarksError(
            f'"{text}" is not a size; write REGION=LENGTH with a positive length, such as lips=0.02', places=[text]
        )
    return normalize_region(name), length


def parse_pin(text: str) -> Pin:
    """Read ``A/B=N`` as N segments on the border between the regions A and B.

    Raises
    ------
    MarksError
        If the text has another form or N is not a whole number of at least 1.
    """
    names, _, value = text.rpartition("=")
    region_a, slash, region_b = (part.strip() for part in names.partition("/"))
    is_count = re.fullmatch(r"\s*\d{1,6}\s*", value) is not None
    if not (region_a and slash and region_b and is_count):
        raise MarksError(
            f'"{text}" is not a pin; write A/B=N for N segments between the regions A and B, such as lips/cheeks=24',
            places=[text],
        )
    pin = Pin(normalize_region(region_a), normalize_region(region_b), int(value))
    check_pin(pin)
    return pin


def parse_budget(text: str) -> int:
    """Read a number of faces.

    Raises
    ------
    MarksError
        If the text is no whole number in plain digits.
    """
    if re.fullmatch(r"\s*[0-9]{1,18}\s*", text) is None:
        raise MarksError(
            f'"{text}" is not a number of faces; write it in plain digits, such as 5000, from {SMALLEST_BUDGET} to '
            f"{LARGEST_BUDGET:,}",
            places=[text],
        )
    return int(text)


def parse_region_name(text: str) -> tuple[RGB, str]:
    """Read ``COLOR=NAME`` and return the colour and the name its region shall have.

    Raises
    ------
    MarksError
        If the text has another form.
    """
    color, _, name = text.partition("=")
    if "/" in name or "=" in name:
        raise MarksError(f'"{name.strip()}" cannot be a name, as / and = stand between names elsewhere', places=[text])
    if not name.strip():
        raise MarksError(f'"{text}" names no region; write COLOR=NAME, such as "#c89070=lips"', places=[text])
    return parse_color(color), name.strip()


def call_region(name: str, names: Mapping[RGB, str]) -> str:
    """Return the one name by which wishes for a region can be told to be for the same, be it meant by name or colour.

    Parameters
    ----------
    name : as written in a wish; a colour with or without its ``#``, or as the group name ``_806246`` of a mesh file.
    names : given to colours.

    Examples
    --------
    >>> [call_region(name, {(192, 48, 96): "lips"}) for name in ("#c03060", "lips", "_806246")]
    ['lips', 'lips', '#806246']
    """
    code = re.fullmatch(r"[#_]?([0-9a-fA-F]{6})", name)
    if code is None or name in names.values():
        return name
    color = parse_color(code[1])
    return names.get(color, format_color(color))


def normalize_region(name: str) -> str:
    """Return a region's name without outer spaces; a colour code in the form that regions are named by."""
    plain = name.strip()
    return format_color(parse_color(plain)) if plain.startswith("#") else plain
