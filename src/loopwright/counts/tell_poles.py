"""Wishes for poles: what they cost in the plans, and whether they were had."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.counts.find_region import find_region
from loopwright.errors import MarksError
from loopwright.types import Finding, IntArray, QuadMesh
from loopwright.wishes import PolePin


def inner_poles(mesh: QuadMesh, region: int) -> IntArray:
    """Return the vertices with other than four edges all round which only quads of a region lie."""
    count = len(mesh.positions)
    flat = mesh.quads.reshape(-1)
    quads = np.bincount(flat, minlength=count)
    own = np.bincount(flat, weights=np.repeat(mesh.quad_region == region, 4), minlength=count)
    a, b = flat, np.roll(mesh.quads, -1, axis=1).reshape(-1)
    edges, times = np.unique(np.sort(np.stack([a, b], axis=1), axis=1), axis=0, return_counts=True)
    inside = np.ones(count, bool)
    inside[edges[times == 1].reshape(-1)] = False
    found: IntArray = np.flatnonzero(inside & (quads > 0) & (own == quads) & (quads != 4)).astype(np.int32)
    return found


def tell_poles(mesh: QuadMesh, poles: Sequence[PolePin]) -> list[Finding]:
    """Return a finding for each wish that could not be had, with the vertices of unwanted poles.

    Parameters
    ----------
    mesh : the whole mesh.
    """
    findings = []
    for pole in poles:
        try:
            region = find_region(mesh.regions, pole.region)
        except MarksError:  # the plan had it, but an edit has merged it away
            continue
        found = inner_poles(mesh, region)
        if pole.wish == "none" and len(found):
            text = f"{pole.region} was to have no poles inside, but its shape and borders ask for {len(found)}."
            findings.append(Finding("poles_unwanted", text, len(found), found))
        if pole.wish == "some" and not len(found):
            text = f"{pole.region} was to have poles inside, but its borders leave no room for any."
            findings.append(Finding("poles_missing", text))
    return findings
