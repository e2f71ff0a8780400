"""Find the region that a name means, or say which ones there are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from loopwright.errors import UnknownRegionError
from loopwright.options import format_color
from loopwright.surface.group_name import group_name
from loopwright.types import Region

_COLOR = re.compile(r"[#_]?[0-9a-fA-F]{6}")
_ALIKE = 0.6  # share of letters in common from which on a name is offered


def find_region(regions: Sequence[Region], name: str) -> int:
    """Return the index of the region with this name, or else with this colour, with or without its ``#``.

    A colour means also the region that a mesh file has under that colour's code as a group name (``_806246``), and
    such a group name means the colour; the same goes for any name that a file cannot hold as it is.

    Raises
    ------
    UnknownRegionError : no region is meant; the message offers one that is spelt alike.
    """
    names = [region.name for region in regions]
    if name in names:
        return names.index(name)
    groups = [group_name(each) for each in names]
    if _COLOR.fullmatch(name):
        code = f"#{name.lstrip('#_').lower()}"
        for written in (names, groups):
            for form in (code, group_name(code)):
                if written.count(form) == 1:
                    return written.index(form)
        codes = [format_color(region.color) for region in regions]
        if codes.count(code) == 1:
            return codes.index(code)
    if groups.count(group_name(name)) == 1:
        return groups.index(group_name(name))
    lower = {known.lower(): known for known in reversed(names)}
    alike = get_close_matches(name.lower(), lower, n=1, cutoff=_ALIKE)
    hint = f'; did you mean "{lower[alike[0]]}"?' if alike else "."
    what = "only region is" if len(names) == 1 else "regions are"
    known = f"; the {what} {', '.join(names)}" if names else ""
    raise UnknownRegionError(f'There is no region "{name}"{known}{hint}', places=[name])
