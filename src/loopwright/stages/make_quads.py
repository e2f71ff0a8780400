"""The stage that fills the layout with quads."""

from __future__ import annotations

from dataclasses import replace

from loopwright.counts.counted_layout import CountedLayout
from loopwright.quads.build_mesh import build_mesh
from loopwright.stages.clock import Clock
from loopwright.stages.read_ground import Ground
from loopwright.stages.without_names import without_names
from loopwright.types import QuadMesh


def make_quads(ground: Ground, made: CountedLayout, clock: Clock) -> QuadMesh:
    """Return the mesh that fills a layout, not evened out; its regions bear no names."""
    with clock.stage("quads"):
        layout = made.layout
        unnamed = replace(made, layout=replace(layout, surface=without_names(layout.surface)))
        return ground.shelf.keep(
            "quads",
            (unnamed,),
            lambda: build_mesh(unnamed.layout, unnamed.counts, layout.vertex_size, progress=clock.progress),
        )
