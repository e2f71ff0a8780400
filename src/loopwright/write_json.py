"""JSON that every reader takes: RFC 8259 knows no infinite numbers and no NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping


def json_text(value: object, *, indent: int | None = None) -> str:
    """Return mappings, lists, texts and numbers as JSON; ``null`` where a number is not finite.

    References
    ----------
    T. Bray, "The JavaScript Object Notation (JSON) Data Interchange Format", RFC 8259, 2017, section 6.

    Examples
    --------
    >>> json_text({"aspect": float("inf"), "angle": 90.0})
    '{"aspect": null, "angle": 90.0}'
    """
    return json.dumps(_finite(value), indent=indent, allow_nan=False)


def _finite(value: object) -> object:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    return value
