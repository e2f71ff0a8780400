"""Draw a scene's pictures with VTK, off-screen; runs as a process of its own.

A graphics driver that fails may take its process down.  So the report starts
``python -m loopwright.report.draw_pictures FOLDER`` and reads the files that it leaves.
"""

from __future__ import annotations

import json
import signal
import sys
from pathlib import Path
from typing import Any

import numpy as np
from vtkmodules import vtkRenderingOpenGL2  # noqa: F401  registers the drawing back end
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkFloatArray, vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkImageData, vtkPolyData
from vtkmodules.vtkIOImage import vtkJPEGWriter
from vtkmodules.vtkRenderingCore import (
    vtkActor,
    vtkLight,
    vtkPolyDataMapper,
    vtkRenderer,
    vtkRenderWindow,
    vtkWindowToImageFilter,
)

from loopwright.report.find_places import KIND as FINDING
from loopwright.report.picture import Lines, Mark, Picture, Scene, Solid, View, load_scene
from loopwright.types import ByteArray, FloatArray, IntArray

PIXELS = 960
"""Width and height of a picture; it is drawn at twice that and averaged, which smooths its edges."""
_OVERSAMPLE = 2
_BACKDROP = (0.50, 0.47, 0.44)  # warm and even, so that light and dark lines both show
_EDGE_COLOR = (0.10, 0.11, 0.13)
_INNER_COLOR = (0.17, 0.18, 0.2)
_LABEL_WIDTH, _LABEL_HEIGHT = 0.034, 0.026
"""The room that a number takes, as shares of the picture's width."""
_VISIBLE_DEPTH = 0.006
"""A mark hides behind a surface that is nearer by more than this share of the diagonal."""
_FINDING_DEPTH = 0.02
"""The same for findings, which may tell of hollows that the faces bridge."""


def draw_pictures(folder: Path) -> None:
    """Draw every picture of the scene in ``folder`` as NAME.jpg, with its visible marks in NAME.json."""
    scene = load_scene(folder)
    actors = {name: _make_solid(solid) for name, solid in scene.solids.items()}
    actors |= {name: (_make_lines(lines),) for name, lines in scene.lines.items()}
    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(0)
    window.SetSize(PIXELS * _OVERSAMPLE, PIXELS * _OVERSAMPLE)
    renderer = vtkRenderer()
    renderer.SetBackground(*_BACKDROP)
    window.AddRenderer(renderer)
    _light(renderer)
    for picture in scene.pictures:
        _draw(picture, scene, actors, renderer, window)
        _write_jpeg(folder / f"{picture.name}.jpg", _grab(window))
        marks = _place_marks(picture, scene, renderer, window)
        (folder / f"{picture.name}.json").write_text(json.dumps(marks, allow_nan=False), encoding="utf-8")


def _draw(
    picture: Picture,
    scene: Scene,
    actors: dict[str, tuple[vtkActor, ...]],
    renderer: vtkRenderer,
    window: vtkRenderWindow,
) -> None:
    renderer.RemoveAllViewProps()
    towards = np.asarray(picture.view.direction)
    for layer in picture.layers:
        for actor in actors[layer.name]:
            actor.SetPosition(*(towards * layer.push * scene.diagonal))
            if layer.name in scene.solids:
                look = actor.GetProperty()
                look.SetEdgeVisibility(layer.has_edges)
                look.SetEdgeColor(*_EDGE_COLOR)
                look.SetLineWidth(picture.edge_width * _OVERSAMPLE)
            renderer.AddActor(actor)
    _aim(renderer, picture.view, scene.diagonal)
    window.Render()


def _aim(renderer: vtkRenderer, view: View, diagonal: float) -> None:
    camera = renderer.GetActiveCamera()
    camera.ParallelProjectionOn()
    camera.SetFocalPoint(*view.focus)
    camera.SetPosition(*(np.asarray(view.focus) + 2 * diagonal * np.asarray(view.direction)))
    camera.SetViewUp(*view.up)
    camera.SetParallelScale(view.half_height)
    camera.SetClippingRange(0.2 * diagonal, 4 * diagonal)


def _light(renderer: vtkRenderer) -> None:
    """A key light from the upper left, a soft fill from the right, a little from below."""
    renderer.AutomaticLightCreationOff()
    renderer.RemoveAllLights()
    for position, strength in (((-0.9, 1.1, 1.3), 0.82), ((1.4, 0.3, 1.0), 0.34), ((0.0, -1.0, 0.6), 0.14)):
        light = vtkLight()
        light.SetLightTypeToCameraLight()
        light.SetPosition(*position)
        light.SetFocalPoint(0, 0, 0)
        light.SetIntensity(strength)
        renderer.AddLight(light)


def _make_solid(solid: Solid) -> tuple[vtkActor, ...]:
    data = vtkPolyData()
    data.SetPoints(_points(solid.positions))
    cells = vtkCellArray()
    cells.SetData(solid.faces.shape[1], numpy_to_vtkIdTypeArray(solid.faces.astype(np.int64).ravel(), deep=True))
    data.SetPolys(cells)
    colors = numpy_to_vtk(np.ascontiguousarray(solid.colors), deep=True)
    owner = data.GetPointData() if solid.color_of == "vertex" else data.GetCellData()
    owner.SetScalars(colors)
    if solid.is_smooth:
        normals = _vertex_normals(solid.positions, solid.faces)
        data.GetPointData().SetNormals(numpy_to_vtk(normals.astype(np.float32), deep=True))
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetAmbient(0.16)
    look.SetDiffuse(0.86)
    look.SetSpecular(0.07)
    look.SetSpecularPower(24)
    if not solid.is_smooth:
        look.SetInterpolationToFlat()
    if not solid.is_open:
        return (actor,)
    look.BackfaceCullingOn()
    return actor, _make_inner_side(data)


def _make_inner_side(data: vtkPolyData) -> vtkActor:
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.FrontfaceCullingOn()
    look.SetColor(*_INNER_COLOR)
    look.SetAmbient(0.5)
    look.SetDiffuse(0.35)
    return actor


def _make_lines(lines: Lines) -> vtkActor:
    data = vtkPolyData()
    data.SetPoints(_points(lines.points))
    cells = vtkCellArray()
    offsets = np.append(lines.starts, len(lines.points)).astype(np.int64)
    ids = np.arange(len(lines.points), dtype=np.int64)
    cells.SetData(numpy_to_vtkIdTypeArray(offsets, deep=True), numpy_to_vtkIdTypeArray(ids, deep=True))
    data.SetLines(cells)
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*(channel / 255 for channel in lines.color))
    look.SetLineWidth(lines.width * _OVERSAMPLE)
    look.SetRenderLinesAsTubes(False)
    look.LightingOff()
    return actor


def _points(positions: FloatArray) -> vtkPoints:
    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(positions, dtype=np.float32), deep=True))
    return points


def _vertex_normals(positions: FloatArray, faces: IntArray) -> FloatArray:
    """Return (n, 3) unit normals, the mean over the faces round each vertex weighted by area."""
    first, second = positions[faces[:, 2]] - positions[faces[:, 0]], positions[faces[:, -1]] - positions[faces[:, 1]]
    face_normals = np.cross(first, second)
    normals = np.zeros((len(positions), 3))
    for column in faces.T:
        for axis in range(3):
            normals[:, axis] += np.bincount(column, face_normals[:, axis], len(positions))
    unit: FloatArray = normals / np.maximum(np.linalg.norm(normals, axis=1), np.finfo(float).tiny)[:, None]
    return unit


def _grab(window: vtkRenderWindow) -> ByteArray:
    """Return the drawn picture, averaged down to (PIXELS, PIXELS, 3), bottom row first."""
    grabber = vtkWindowToImageFilter()
    grabber.SetInput(window)
    grabber.ReadFrontBufferOff()
    grabber.ShouldRerenderOff()
    grabber.Update()
    pixels = vtk_to_numpy(grabber.GetOutput().GetPointData().GetScalars())
    rows = pixels.reshape(PIXELS, _OVERSAMPLE, PIXELS * _OVERSAMPLE * 3)
    halved = sum(rows[:, k].astype(np.uint16) for k in range(_OVERSAMPLE))
    columns = np.asarray(halved).reshape(PIXELS, PIXELS, _OVERSAMPLE, 3)
    total = sum(columns[:, :, k] for k in range(_OVERSAMPLE))
    small: ByteArray = (np.asarray(total) // _OVERSAMPLE**2).astype(np.uint8)
    return small


def _write_jpeg(path: Path, pixels: ByteArray) -> None:
    image = vtkImageData()
    image.SetDimensions(PIXELS, PIXELS, 1)
    image.GetPointData().SetScalars(numpy_to_vtk(pixels.reshape(-1, 3), deep=True))
    writer = vtkJPEGWriter()
    writer.SetInputData(image)
    writer.SetQuality(88)
    writer.SetFileName(str(path))
    writer.Write()


def _place_marks(
    picture: Picture, scene: Scene, renderer: vtkRenderer, window: vtkRenderWindow
) -> list[dict[str, object]]:
    """Return kind, text and place in the picture of every mark that no surface hides."""
    if not picture.marks:
        return []
    depths = _depths(window, renderer.GetActiveCamera())
    placed: list[dict[str, object]] = []
    taken: list[tuple[float, float]] = []
    for mark in picture.marks:
        depth = scene.diagonal * (_FINDING_DEPTH if mark.kind == FINDING else _VISIBLE_DEPTH)
        spots = [spot for spot in _project(mark, picture.view) if _is_visible(spot, depths, scene.diagonal, depth)]
        if mark.kind == "count":
            spots = [spot for spot in spots if _is_free(spot, taken)]
        if spots:
            left, top, _ = spots[0]
            taken.append((left, top))
            placed.append({"kind": mark.kind, "text": mark.text, "left": left, "top": top})
    return placed


def _project(mark: Mark, view: View) -> list[tuple[float, float, float]]:
    """Return left, top and distance towards the camera from the focus of every place that a mark may stand at."""
    towards, up = np.asarray(view.direction), np.asarray(view.up)
    right = np.cross(up, towards)
    right = right / np.linalg.norm(right)
    offsets = np.asarray(mark.positions).reshape(-1, 3) - np.asarray(view.focus)
    left = 0.5 + offsets @ right / (2 * view.half_height)
    top = 0.5 - offsets @ np.cross(towards, right) / (2 * view.half_height)
    return list(zip(left.tolist(), top.tolist(), (offsets @ towards).tolist(), strict=True))


def _is_visible(spot: tuple[float, float, float], depths: FloatArray, diagonal: float, depth: float) -> bool:
    """Return whether a spot is in the picture, and no surface is nearer by more than a depth."""
    left, top, nearness = spot
    if not (0.012 < left < 0.988 and 0.012 < top < 0.988):
        return False
    row, column = int((1 - top) * len(depths)), int(left * len(depths))
    return 2 * diagonal - nearness <= float(depths[row, column]) + depth


def _is_free(spot: tuple[float, float, float], taken: list[tuple[float, float]]) -> bool:
    """Return whether a number fits here beside the marks that are placed already."""
    return all(abs(spot[0] - left) > _LABEL_WIDTH or abs(spot[1] - top) > _LABEL_HEIGHT for left, top in taken)


def _depths(window: vtkRenderWindow, camera: Any) -> FloatArray:
    """Return the distance from the camera's plane of what is drawn at each pixel, bottom row first."""
    width, height = window.GetSize()
    buffer = vtkFloatArray()
    window.GetZbufferData(0, 0, width - 1, height - 1, buffer)
    near, far = camera.GetClippingRange()
    depths: FloatArray = near + vtk_to_numpy(buffer).reshape(height, width).astype(float) * (far - near)
    return depths


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop
    draw_pictures(Path(sys.argv[1]))
