"""Find the region that a name means, or say which ones there are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from loopwright.errors import MarksError
from loopwright.options import format_color
from loopwright.types import Region

_ALIKE = 0.6  # share of letters in common from which on a name is offered


def find_region(regions: Sequence[Region], name: str) -> int:
    """Return the index of the region with this name, or else with this colour, with or without its ``#``.

    Raises
    ------
    MarksError : no region is meant; the message offers one that is spelt alike.
    """
    names = [region.name for region in regions]
    if name in names:
        return names.index(name)
    if re.fullmatch(r"#?[0-9a-fA-F]{6}", name):
        codes = [format_color(region.color) for region in regions]
        code = f"#{name.removeprefix('#').lower()}"
        if codes.count(code) == 1:
            return codes.index(code)
    lower = {known.lower(): known for known in reversed(names)}
    alike = get_close_matches(name.lower(), lower, n=1, cutoff=_ALIKE)
    hint = f'; did you mean "{lower[alike[0]]}"?' if alike else "."
    known = f"; the regions are {', '.join(names)}" if names else ""
    raise MarksError(f'There is no region "{name}"{known}{hint}', places=[name])
