"""Put a sculpt and its mesh through poses and measure both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.fit.measure_quality import QualityReport, measure_quality
from loopwright.progress import Progress, silent
from loopwright.rehearse.measure_strain import Strain, measure_strain
from loopwright.rehearse.poses import Pose, bend
from loopwright.rehearse.weights import HandleWeights, sculpt_normals
from loopwright.reuse.template import template_of_quads
from loopwright.surface.project import SurfaceProjector
from loopwright.types import FloatArray, QuadMesh, Sculpt


@dataclass(frozen=True)
class PosedMesh:
    """One mesh in one pose.

    Attributes
    ----------
    pose : its name.
    positions : (n, 3) the control points.
    strain : against the mesh at rest.
    quality : of the quads in the pose.
    newly_inverted : quads that are folded in the pose and are not at rest.
    rms, p95 : distance of the limit surface to the posed sculpt, in shares of the sculpt's diagonal.
    """

    pose: str
    positions: FloatArray
    strain: Strain
    quality: QualityReport
    newly_inverted: int
    rms: float
    p95: float

    def figures(self) -> dict[str, float]:
        """Return what tables show."""
        quality = self.quality.summary()
        return {
            "strain_angle": self.strain.mean_angle,
            "quality_mean": quality["mean"],
            "quality_p5": quality["p5"],
            "quality_min": quality["min"],
            "newly_inverted": float(self.newly_inverted),
            "limit_rms": self.rms,
            "limit_p95": self.p95,
        }


@dataclass(frozen=True)
class Rehearsal:
    """Meshes in poses.

    Attributes
    ----------
    sculpts : (n, 3) positions of the sculpt, per pose. meshes : per mesh, per pose.
    """

    poses: tuple[str, ...]
    sculpts: tuple[FloatArray, ...]
    meshes: tuple[tuple[PosedMesh, ...], ...]


def rehearse(
    sculpt: Sculpt,
    meshes: Sequence[QuadMesh],
    weights: HandleWeights,
    poses: Sequence[Pose],
    *,
    progress: Progress = silent,
) -> Rehearsal:
    """Bend a sculpt and one or more meshes of it by the same weights, and measure each mesh in each pose.

    A vertex of a cage follows the weights at its limit point, so that cage and sculpt stay together.
    """
    dense = weights.at(sculpt.positions, sculpt_normals(sculpt))
    cages = []
    for mesh in meshes:
        template = template_of_quads(mesh.positions, mesh.quads)
        cages.append(weights.at(template.positions, template.normals(template.positions)))
    sculpts, posed = [], []
    for index, pose in enumerate(poses):
        progress("rehearse", index / len(poses))
        there = bend(sculpt.positions, dense, weights.handles, pose)
        projector = SurfaceProjector(there, sculpt.triangles)
        sculpts.append(there)
        posed.append(
            [
                _measure(mesh, bend(mesh.positions, cage, weights.handles, pose), projector, pose.name)
                for mesh, cage in zip(meshes, cages, strict=True)
            ]
        )
    progress("rehearse", 1.0)
    by_mesh = tuple(zip(*posed, strict=True))
    return Rehearsal(tuple(pose.name for pose in poses), tuple(sculpts), by_mesh)


def _measure(mesh: QuadMesh, positions: FloatArray, projector: SurfaceProjector, pose: str) -> PosedMesh:
    template = template_of_quads(positions, mesh.quads)
    landed = projector.project(template.positions, template.normals(template.positions))
    off = np.linalg.norm(landed.points - template.positions, axis=1) / projector.diagonal
    quality = measure_quality(positions, mesh.quads)
    before = measure_quality(mesh.positions, mesh.quads).scaled_jacobian
    return PosedMesh(
        pose,
        positions,
        measure_strain(mesh.positions, positions, mesh.quads),
        quality,
        int(((quality.scaled_jacobian <= 0.0) & (before > 0.0)).sum()),
        float(np.sqrt((off**2).mean())),
        float(np.quantile(off, 0.95)),
    )
