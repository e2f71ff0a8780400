"""Decide what each picture of the report shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from loopwright.report.choose_views import Opening, choose_close_ups, choose_views
from loopwright.report.find_places import finding_marks
from loopwright.report.measure_distance import Distances
from loopwright.report.measure_poles import measure_poles
from loopwright.report.parts import ArcLike, LayoutLike
from loopwright.report.pick_colors import ARC_COLORS, ARC_WIDTHS, BEYOND, CLAY, heat_colors, region_colors
from loopwright.report.picture import Layer, Lines, Mark, Picture, Scene, Solid, View
from loopwright.report.thin_surface import thin_surface
from loopwright.types import ByteArray, Finding, FloatArray, MirrorPlane, QuadMesh, RegionSurface, Sculpt

VIEW_TITLES = {
    "front": "Front",
    "three_quarter": "Three-quarter",
    "side": "Side",
    "back": "Back",
    "top": "Top",
    "under": "Under the jaw",
}
_LABEL_PLACES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
"""Where along an arc its number may stand, as shares of its length, the best first."""
_ROOM = 0.02
"""Share of the subject's largest extent that a place may lie beyond it, by being rounded, to be marked."""
_ARC_PUSH, _MIRRORED_PUSH, _MESH_PUSH = 0.004, 0.003, 0.002


def compose_scene(
    sculpt: Sculpt,
    surface: RegionSurface,
    layout: LayoutLike | None,
    mesh: QuadMesh | None,
    distances: Distances | None,
    heat_limit: float,
    findings: Sequence[Finding] = (),
) -> Scene:
    """Return all pictures that can be made of what there is; a plan has no mesh and no distances.

    Places of ``findings`` are marked on the mesh, or on the layout of a plan.
    """
    told = _near(finding_marks(findings), sculpt.positions)
    whole = _whole_surface(surface)
    views = choose_views(_with_marked(whole.positions if mesh is None else mesh.positions, told), surface.mirror)
    solids = {
        "painted": Solid(sculpt.positions, sculpt.triangles, _paint(sculpt)),
        "regions": whole,
        "pale": Solid(whole.positions, whole.faces, _pale(surface, len(whole.faces)), color_of="face", is_open=True),
    }
    lines: dict[str, Lines] = {}
    pictures = _sculpt_pictures(choose_views(sculpt.positions, surface.mirror))
    if layout is not None:
        lines |= _arc_lines(layout.arcs, surface.mirror)
        pictures += _layout_pictures(layout, views, tuple(lines), told if mesh is None else ())
    if mesh is not None:
        solids |= {"mesh": _mesh_solid(mesh), "clay": _clay(sculpt)}
        pictures += _mesh_pictures(mesh, views, told)
    if distances is not None:
        solids |= _heat_solids(sculpt, distances, heat_limit)
        pictures += _heat_pictures(views)
    diagonal = float(np.linalg.norm(np.ptp(sculpt.positions, axis=0))) or 1.0
    return Scene(diagonal, solids, lines, tuple(pictures))


def compose_mesh_scene(
    before: QuadMesh,
    mesh: QuadMesh,
    sculpt: Sculpt | None,
    distances: Distances | None,
    heat_limit: float,
    findings: Sequence[Finding] = (),
) -> Scene:
    """Return the pictures of a mesh that was edited, and of the mesh before, from where the mesh is seen now.

    Without a sculpt there are no distances either. Places of ``findings`` are marked on the mesh as it is now.
    """
    places = mesh.positions if sculpt is None else sculpt.positions
    told = _near(finding_marks(findings), places)
    views = choose_views(_with_marked(mesh.positions, told), mesh.mirror)
    solids = {"mesh": _mesh_solid(mesh), "before": _mesh_solid(before)}
    if sculpt is not None:
        solids["clay"] = _clay(sculpt)
    pictures = _mesh_pictures(mesh, views, told, is_bare=sculpt is None)
    pictures += _mesh_pictures(before, views, (), is_bare=sculpt is None, name="before")
    if sculpt is not None and distances is not None:
        solids |= _heat_solids(sculpt, distances, heat_limit)
        pictures += _heat_pictures(views)
    diagonal = float(np.linalg.norm(np.ptp(places, axis=0))) or 1.0
    return Scene(diagonal, solids, {}, tuple(pictures))


def _near(marks: Iterable[Mark], points: FloatArray) -> tuple[Mark, ...]:
    """Return the marks that lie within the bounds of points, or little beyond: others would be seen where they are not.

    What is far off may lie before or behind the subject.
    """
    room = _ROOM * float(np.ptp(points, axis=0).max())
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    return tuple(mark for mark in marks if all(((low <= place) & (place <= high)).all() for place in mark.positions))


def _with_marked(points: FloatArray, marks: Iterable[Mark]) -> FloatArray:
    """Return points and the places of marks, for views to hold both."""
    places = np.array([place for mark in marks for place in mark.positions], np.float64)
    return np.concatenate([points, places.reshape(-1, 3)])


def _mesh_solid(mesh: QuadMesh) -> Solid:
    colors = region_colors(mesh.regions, mesh.quad_region)
    return Solid(mesh.positions, mesh.quads, colors, is_smooth=False, color_of="face", is_open=True)


def _clay(sculpt: Sculpt) -> Solid:
    thin, faces = thin_surface(sculpt.positions, sculpt.triangles)
    return Solid(thin, faces, _constant(CLAY, len(thin)))


def _sculpt_pictures(views: dict[str, View]) -> list[Picture]:
    return [
        Picture(f"{name}-{view}", f"{title}, {VIEW_TITLES[view].lower()}", views[view], (Layer(name),))
        for name, title in (("painted", "As painted"), ("regions", "As understood"))
        for view in ("front", "three_quarter")
    ]


def _layout_pictures(
    layout: LayoutLike, views: dict[str, View], lines: Iterable[str], told: tuple[Mark, ...]
) -> list[Picture]:
    layers = (
        Layer("pale"),
        *(Layer(name, push=_MIRRORED_PUSH if name.startswith("mirrored") else _ARC_PUSH) for name in lines),
    )
    marks = (*_pole_marks(layout.poles), *_count_marks(layout.arcs), *told)
    return [
        Picture(f"layout-{view}", VIEW_TITLES[view], views[view], layers, marks)
        for view in ("front", "three_quarter", "side", "under")
    ]


def _mesh_pictures(
    mesh: QuadMesh, views: dict[str, View], told: tuple[Mark, ...], *, is_bare: bool = False, name: str = "mesh"
) -> list[Picture]:
    """Return the pictures of a mesh over the sculpt, or without it where ``is_bare``; ``name`` is its solid's.

    ``told`` are marks of findings. The mesh itself is also seen near by, at its openings.
    """
    poles = measure_poles(mesh)
    marks = _pole_marks(list(zip(mesh.positions[poles.vertices], poles.valences.tolist(), strict=True))) + told
    layers = (*(() if is_bare else (Layer("clay"),)), Layer(name, has_edges=True, push=_MESH_PUSH))
    pictures = [
        Picture(f"{name}-{view}", VIEW_TITLES[view], views[view], layers, marks, edge_width=0.8)
        for view in ("front", "three_quarter", "side", "top", "under", "back")
    ]
    if name != "mesh":
        return pictures
    for number, (opening, view) in enumerate(choose_close_ups(mesh), start=1):
        title = _opening_title(mesh, opening)
        pictures.append(Picture(f"opening-{number}", title, view, layers, marks, edge_width=1.4))
    return pictures


def _heat_pictures(views: dict[str, View]) -> list[Picture]:
    titles = {"heat_sculpt": "Sculpt to mesh", "heat_mesh": "Mesh to sculpt"}
    return [
        Picture(f"{name}-{view}", f"{title}, {VIEW_TITLES[view].lower()}", views[view], (Layer(name),))
        for name, title in titles.items()
        for view in ("front", "three_quarter")
    ]


def _heat_solids(sculpt: Sculpt, distances: Distances, limit: float) -> dict[str, Solid]:
    on_sculpt = heat_colors(distances.sculpt_to_surface, limit)
    on_sculpt[distances.is_beyond] = BEYOND
    on_mesh = heat_colors(distances.surface_to_sculpt, limit)
    return {
        "heat_sculpt": Solid(sculpt.positions, sculpt.triangles, on_sculpt),
        "heat_mesh": Solid(distances.surface_positions, distances.surface_triangles, on_mesh, is_open=True),
    }


def _opening_title(mesh: QuadMesh, opening: Opening) -> str:
    """Name an opening by the regions round it."""
    is_near = np.isin(mesh.quads, opening.vertices).any(axis=1)
    names = sorted({mesh.regions[region].name for region in np.unique(mesh.quad_region[is_near])})
    image = ", like its mirror image" if opening.has_image else ""
    return f"Opening in {' / '.join(names[:3])}, {len(opening.vertices)} edges{image}"


def _pole_marks(poles: Sequence[tuple[FloatArray, int]]) -> tuple[Mark, ...]:
    return tuple(
        Mark(f"pole{valence}" if valence in (3, 5) else "pole", str(valence), (_triple(np.asarray(position)),))
        for position, valence in poles
        if valence != 4
    )


def _count_marks(arcs: Sequence[ArcLike]) -> tuple[Mark, ...]:
    """Return the number of each arc with the places where it may stand, long arcs first."""
    marks = [
        (-_arc_length(arc), Mark("count", str(int(arc.count)), tuple(_triple(p) for p in _points_along(arc))))
        for arc in arcs
        if len(arc.points) >= 2
    ]
    return tuple(mark for _, mark in sorted(marks, key=lambda pair: pair[0]))


def _arc_length(arc: ArcLike) -> float:
    return float(np.linalg.norm(np.diff(arc.points, axis=0), axis=1).sum())


def _points_along(arc: ArcLike) -> FloatArray:
    steps = np.linalg.norm(np.diff(arc.points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.asarray(_LABEL_PLACES) * along[-1]
    return np.stack([np.interp(wanted, along, arc.points[:, axis]) for axis in range(3)], axis=1)


def _arc_lines(arcs: Sequence[ArcLike], mirror: MirrorPlane | None) -> dict[str, Lines]:
    """Return the arcs by kind, and their images on the other half, thinner."""
    lines = {}
    for kind, color in ARC_COLORS.items():
        chosen = [arc.points for arc in arcs if (arc.kind if arc.kind in ARC_COLORS else "cut") == kind]
        if not chosen:
            continue
        points = np.concatenate(chosen)
        starts = np.cumsum([0, *(len(part) for part in chosen[:-1])]).astype(np.int32)
        width = ARC_WIDTHS[kind]
        if mirror is not None and kind != "mirror":
            lines[f"mirrored_{kind}"] = Lines(mirror.reflect(points), starts, color, width * 0.45)
        lines[kind] = Lines(points, starts, color, width)
    return lines


def _whole_surface(surface: RegionSurface) -> Solid:
    """Return the proxy coloured by region, with its mirror image where it is a half."""
    positions, triangles, region = surface.positions, surface.triangles, surface.triangle_region
    if surface.mirror is not None:
        image = triangles[:, ::-1] + len(positions)
        positions = np.concatenate([positions, surface.mirror.reflect(positions)])
        triangles, region = np.concatenate([triangles, image]), np.concatenate([region, region])
    return Solid(positions, triangles, region_colors(surface.regions, region), color_of="face", is_open=True)


def _pale(surface: RegionSurface, count: int) -> ByteArray:
    region = np.resize(surface.triangle_region, count)
    return region_colors(surface.regions, region, pale=0.35)


def _paint(sculpt: Sculpt) -> ByteArray:
    return _constant(CLAY, len(sculpt.positions)) if sculpt.colors is None else sculpt.colors


def _constant(color: tuple[int, int, int], count: int) -> ByteArray:
    return np.tile(np.array(color, np.uint8), (count, 1))


def _triple(vector: FloatArray) -> tuple[float, float, float]:
    return float(vector[0]), float(vector[1]), float(vector[2])
