"""The places that a finding tells of, so that the pictures can point at them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loopwright.report.picture import Mark
from loopwright.types import Finding

KIND = "finding"
"""The kind of the marks."""

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?"
_PLACE = re.compile(rf"\(({_NUMBER}), ({_NUMBER}), ({_NUMBER})\)")
_MOST = 8  # places of one finding


def find_places(finding: Finding) -> tuple[tuple[float, float, float], ...]:
    """Return the places that the sentence of a finding names, each once, in their order; messages write ``(x, y, z)``.

    Examples
    --------
    >>> find_places(Finding("short", "It ends short near (1.5, -2, 3e-05), by 0.2 (1.1 edges)."))
    ((1.5, -2.0, 3e-05),)
    """
    found = [(float(x), float(y), float(z)) for x, y, z in _PLACE.findall(finding.text)]
    return tuple(dict.fromkeys(found))[:_MOST]


def finding_marks(findings: Sequence[Finding]) -> tuple[Mark, ...]:
    """Return a mark at each place that a finding names, with the finding's number in the list, from 1."""
    return tuple(
        Mark(KIND, str(number), (place,))
        for number, finding in enumerate(findings, 1)
        for place in find_places(finding)
    )
