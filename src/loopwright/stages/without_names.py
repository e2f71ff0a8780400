"""Surfaces and meshes without the names of their regions: what another name does not change is not made again."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from loopwright.types import QuadMesh, RegionSurface

_NO_NAME = ""

Named = TypeVar("Named", RegionSurface, QuadMesh)


def without_names(named: Named) -> Named:
    """Return a surface or mesh whose regions all have the same, empty name."""
    return replace(named, regions=tuple(replace(region, name=_NO_NAME) for region in named.regions))
