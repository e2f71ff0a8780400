"""Make the demo creature, build its mesh at 5,000 faces and write both beside each other."""

from __future__ import annotations

from pathlib import Path

from loopwright import BuildOptions, build
from loopwright.demo import demo_regions, make_creature, write_sculpt_ply
from loopwright.handover.write_mesh import write_mesh

FOLDER = Path("creature")


def main() -> None:
    """Make, build, write, and say what came out."""
    FOLDER.mkdir(exist_ok=True)
    sculpt = make_creature()
    write_sculpt_ply(FOLDER / "obbo.ply", sculpt)
    regions = demo_regions()
    names = {region.color: region.name for region in regions}
    options = BuildOptions(budget=5000, leave_open=(regions[0].color,), region_names=names)
    result = build(sculpt, options=options)
    write_mesh(FOLDER / "obbo.obj", result.mesh)
    print(f"{len(result.mesh.quads):,} quads in {FOLDER / 'obbo.obj'}")


if __name__ == "__main__":
    main()
