"""Make the demo body, build its mesh at 8,000 faces and write both beside each other."""

from __future__ import annotations

from pathlib import Path

from loopwright import BuildOptions, build
from loopwright.demo import body_regions, make_body, write_sculpt_ply
from loopwright.handover.write_mesh import write_mesh

FOLDER = Path("body")


def main() -> None:
    """Make, build, write, and say what came out."""
    FOLDER.mkdir(exist_ok=True)
    sculpt = make_body()
    write_sculpt_ply(FOLDER / "pell.ply", sculpt)
    regions = body_regions()
    names = {region.color: region.name for region in regions}
    options = BuildOptions(budget=8000, leave_open=(regions[0].color,), region_names=names)
    result = build(sculpt, options=options)
    write_mesh(FOLDER / "pell.obj", result.mesh)
    print(f"{len(result.mesh.quads):,} quads in {FOLDER / 'pell.obj'}")


if __name__ == "__main__":
    main()
