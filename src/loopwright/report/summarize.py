"""The figures of a build or a plan: for the console, the page and the JSON alike."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, is_dataclass

import numpy as np
from scipy.spatial import cKDTree

from loopwright import __version__
from loopwright.counts.count_borders import BorderCount
from loopwright.counts.count_mesh_borders import count_mesh_borders, count_mesh_openings
from loopwright.fit.measure_quality import measure_quality
from loopwright.options import format_color
from loopwright.report.expect_faces import expect_faces
from loopwright.report.measure_distance import Distances
from loopwright.report.measure_poles import Poles, measure_poles
from loopwright.report.measure_symmetry import measure_symmetry
from loopwright.report.parts import BuildLike, LayoutLike, PlanLike
from loopwright.report.tell_wishes import list_wishes, tell_wishes
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, IntArray, QuadMesh, RegionSurface


@dataclass(frozen=True)
class RegionRow:
    """What one region became, or is expected to become."""

    name: str
    color: str
    faces: int
    edge_length: float
    poles: dict[int, int]


@dataclass(frozen=True)
class Summary:
    """Everything that the report prints; parts that a plan does not have are empty.

    Of a plan, ``faces`` and those of the regions are expected and ``vertices`` is None.  ``planned_poles``, ``borders``
    and ``openings`` are those of the whole mesh.  Of an edited mesh, ``sculpt`` is its own name, and ``triangles`` is 0
    where no sculpt was given; of anything else, ``faces_before`` is None and ``measured_surface`` empty: what
    of an edited mesh ``distances`` tells of, ``limit`` (its smooth limit surface) or ``faces`` (the mesh itself).
    """

    sculpt: str
    triangles: int
    diagonal: float
    wishes: dict[str, object]
    regions: tuple[RegionRow, ...]
    is_plan: bool = False
    faces: int = 0
    faces_before: int | None = None
    vertices: int | None = None
    borders: tuple[BorderCount, ...] = ()
    openings: tuple[int, ...] = ()
    planned_poles: dict[int, int] = field(default_factory=dict)
    poles: dict[int, int] = field(default_factory=dict)
    poles_by_place: dict[str, dict[int, int]] = field(default_factory=dict)
    rim_turns: dict[int, int] = field(default_factory=dict)
    quality: dict[str, float] = field(default_factory=dict)
    quality_before: dict[str, float] = field(default_factory=dict)
    distances: dict[str, float] = field(default_factory=dict)
    measured_surface: str = ""
    symmetry: dict[str, float] = field(default_factory=dict)
    layout: dict[str, object] = field(default_factory=dict)
    findings: tuple[dict[str, object], ...] = ()
    timings: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, object]:
        """Return the figures as plain values."""
        return {"loopwright": __version__, **asdict(self)}

    def flaws(self) -> list[str]:
        """Return which wishes are known not to be kept, and whether quads are folded; sizes and the budget are told."""
        folded = [str(finding["text"]) for finding in self.findings if finding["kind"] == "folded"]
        return list_wishes(self.wishes, is_plan=self.is_plan, missed=True) + folded

    def lines(self) -> list[str]:
        """Return the lines that a command prints."""
        lines = [f"sculpt  {self.sculpt}, {plural(self.triangles, 'triangle')}"]
        lines += _wrapped("regions", [f"{row.name} {row.faces:,}" for row in self.regions])
        if self.layout:
            half = " of one half, which the other mirrors" if self.layout["is_half"] else ""
            arcs, patches = (int(str(self.layout[key])) for key in ("arcs", "patches"))
            lines.append(f"layout  {plural(arcs, 'arc')}, {plural(patches, 'patch', 'patches')}{half}")
        if self.is_plan:
            lines.append(f"faces   about {plural(self.faces, 'quad')} expected")
            lines += _wrapped("borders", [tell_border(border) for border in self.borders])
            lines += _wrapped("rims", [plural(segments, "segment") for segments in self.openings])
            lines.append(f"poles   {tell_poles(self.planned_poles)} planned")
        else:
            lines.append(f"faces   {plural(self.faces, 'quad')}, {plural(self.vertices or 0, 'vertex', 'vertices')}")
            lines.append(f"poles   {tell_poles(self.poles)}")
        lines += _wrapped("wishes", list_wishes(self.wishes, is_plan=self.is_plan))
        lines += [f"{finding['kind']}: {finding['text']}" for finding in self.findings]
        lines.append(f"time    {sum(self.timings.values()):.1f} s")
        return lines


def summarize_plan(result: PlanLike) -> Summary:
    """Return the figures of a plan."""
    faces, edges = expect_faces(result.layout, result.surface)
    poles = _planned_by_region(result)
    regions = tuple(
        RegionRow(region.name, format_color(region.color), int(faces[k]), float(edges[k]), poles[k])
        for k, region in enumerate(result.surface.regions)
    )
    return Summary(**_shared(result), regions=regions, is_plan=True, faces=int(faces.sum()))  # type: ignore[arg-type]


def _planned_by_region(result: PlanLike) -> list[dict[int, int]]:
    """Return for each region the planned poles of the whole mesh by valence; one on a border counts for one side."""
    surface = result.surface
    counts = [Counter[int]() for _ in surface.regions]
    if result.layout.poles:
        tree = cKDTree(surface.positions[surface.triangles].mean(axis=1), balanced_tree=False)
        nearest = tree.query(np.array([place for place, _ in result.layout.poles]))[1]
        for (_, valence), region in zip(result.layout.poles, surface.triangle_region[nearest].tolist(), strict=True):
            counts[region][int(valence)] += 1 if surface.mirror is None else 2
    return [dict(sorted(each.items())) for each in counts]


def summarize_build(result: BuildLike, *, measured: Distances | None = None) -> Summary:
    """Return the figures of a build.

    Parameters
    ----------
    result
        The build.
    measured
        Distances to print before those that the build itself holds.
    """
    mesh, poles = result.mesh, measure_poles(result.mesh)
    shared = _shared(result)
    found = {} if measured is None else measured.summarize(float(shared["diagonal"]))  # type: ignore[arg-type]
    return Summary(
        **shared,  # type: ignore[arg-type]
        regions=region_rows(mesh, poles),
        faces=len(mesh.quads),
        vertices=len(mesh.positions),
        poles=poles.count_by_valence(),
        poles_by_place=poles.count_by_place(),
        rim_turns=poles.rim_turns,
        quality=measure_quality(mesh.positions, mesh.quads).summary(),
        distances={**found, **_numbers(result.distances)},
        symmetry=measure_symmetry(mesh, mesh.mirror or result.surface.mirror),
    )


def tell_border(border: BorderCount) -> str:
    """Return a border in the words of a pin, such as ``lips/mouth=24``; with its ``near`` where there are several."""
    near = "" if border.near is None else f" near {list(border.near)}"
    return f"{'/'.join(border.between)}={border.segments}{near}" + (" on each side" if border.times == 2 else "")


def _wrapped(title: str, parts: Sequence[str]) -> list[str]:
    """Return the parts in as few lines as hold them, under a title."""
    text = ", ".join(part.replace(" ", "\0") for part in parts)
    lines = textwrap.wrap(text, 104, break_long_words=False, break_on_hyphens=False)
    return [f"{title if k == 0 else '':<7} {line}".replace("\0", " ") for k, line in enumerate(lines)]


def tell_poles(poles: Mapping[int, int]) -> str:
    """Return poles by valence in words, such as ``12 of valence 3, 20 of valence 5``."""
    return ", ".join(f"{count} of valence {valence}" for valence, count in poles.items()) or "none"


def _shared(result: PlanLike) -> dict[str, object]:
    sculpt, halves = result.sculpt, 1 if result.surface.mirror is None else 2
    poles = Counter(int(valence) for _, valence in result.layout.poles)
    return {
        "sculpt": sculpt.name,
        "triangles": len(sculpt.triangles),
        "diagonal": float(np.linalg.norm(np.ptp(sculpt.positions, axis=0))) if len(sculpt.positions) else 0.0,
        "wishes": tell_wishes(getattr(result, "options", None), getattr(result, "outcomes", ())),
        "layout": _count_layout(result.layout, result.surface),
        **_count_borders(result),
        "planned_poles": {valence: halves * count for valence, count in sorted(poles.items())},
        "findings": tuple(tell_finding(finding) for finding in result.findings),
        "timings": {stage: float(seconds) for stage, seconds in result.timings.items()},
    }


def _count_borders(result: PlanLike) -> dict[str, object]:
    """Return the edges on borders and openings: of the layout, or of the mesh where edits have changed that."""
    mesh = getattr(result, "mesh", None)
    options = getattr(result, "options", None)
    if mesh is not None and options is not None and options.edits:
        return {"borders": count_mesh_borders(mesh, result.surface.mirror), "openings": count_mesh_openings(mesh)}
    return {"borders": tuple(result.layout.borders), "openings": tuple(result.layout.openings)}


def tell_finding(finding: Finding) -> dict[str, object]:
    """Return a finding as plain values, for the report; ``data`` only where it has some."""
    told: dict[str, object] = {"kind": finding.kind, "text": finding.text, "count": finding.count}
    return {**told, "data": dict(finding.data)} if finding.data else told


def _count_layout(layout: LayoutLike, surface: RegionSurface) -> dict[str, object]:
    kinds = Counter(str(arc.kind) for arc in layout.arcs)
    sides = Counter(len(patch.side_counts) for patch in layout.patches)
    return {
        "arcs": len(layout.arcs),
        "arcs_by_kind": dict(sorted(kinds.items())),
        "segments": sum(int(arc.count) for arc in layout.arcs),
        "patches": len(layout.patches),
        "patches_by_sides": dict(sorted(sides.items())),
        "is_half": surface.mirror is not None,
    }


def region_rows(mesh: QuadMesh, poles: Poles) -> tuple[RegionRow, ...]:
    """Return what each region of a mesh became."""
    by_place = poles.count_by_place()
    counts = np.bincount(mesh.quad_region, minlength=len(mesh.regions))
    return tuple(
        RegionRow(
            region.name,
            format_color(region.color),
            int(counts[index]),
            _mean_edge(mesh, mesh.quads[mesh.quad_region == index]),
            by_place.get(region.name, {}),
        )
        for index, region in enumerate(mesh.regions)
    )


def _mean_edge(mesh: QuadMesh, quads: IntArray) -> float:
    if not len(quads):
        return 0.0
    corners = mesh.positions[quads]
    return float(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).mean())


def _numbers(values: object) -> dict[str, float]:
    """Return the numbers among the fields of a mapping or a dataclass."""
    if is_dataclass(values) and not isinstance(values, type):
        values = asdict(values)
    if not isinstance(values, Mapping):
        return {}
    return {str(name): float(value) for name, value in values.items() if isinstance(value, (int, float, np.number))}
