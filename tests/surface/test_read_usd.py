"""USD stages: several meshes in their places, colours of every interpolation, damage that stays outside."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loopwright.errors import Cancelled, InputError
from loopwright.surface import read_usd as module
from loopwright.surface.read import read_sculpt

USDA = """#usda 1.0
( metersPerUnit = 0.01 )
def Xform "body"
{{
    double3 xformOp:translate = (10, 0, 0)
    uniform token[] xformOpOrder = ["xformOp:translate"]
    def Mesh "side"
    {{
        {orientation}
        int[] faceVertexCounts = [4, 3]
        int[] faceVertexIndices = {indices}
        point3f[] points = [(0,0,0), (1,0,0), (1,1,0), (0,1,0), (2,0,0)]
        color3f[] primvars:displayColor = {colors} ( interpolation = "{interpolation}" )
    }}
}}
def Mesh "second"
{{
    int[] faceVertexCounts = [3]
    int[] faceVertexIndices = [0, 1, 2]
    point3f[] points = [(0,0,5), (1,0,5), (0,1,5)]
}}
"""
RED, BLUE = "(1,0,0)", "(0,0,1)"
GOOD = "[0,1,2,3,1,4,2]"


def stage(colors: list[str], interpolation: str, indices: str = GOOD, orientation: str = "") -> str:
    return USDA.format(
        colors=f"[{', '.join(colors)}]", interpolation=interpolation, indices=indices, orientation=orientation
    )


@pytest.mark.parametrize(
    ("colors", "interpolation", "expected"),
    [
        ([RED], "constant", "rrrrr"),
        ([RED, RED, BLUE, RED, BLUE], "vertex", "rrbrb"),
        ([RED, BLUE], "uniform", "rbbrb"),
        ([RED, RED, BLUE, RED, RED, BLUE, BLUE], "faceVarying", "rrbrb"),
    ],
)
def test_colors_and_places(tmp_path: Path, colors: list[str], interpolation: str, expected: str) -> None:
    pytest.importorskip("pxr")
    file = tmp_path / "two.usda"
    file.write_text(stage(colors, interpolation))
    sculpt = read_sculpt(file)
    assert sculpt.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [1, 4, 2], [5, 6, 7]]
    np.testing.assert_array_equal(sculpt.positions[4:6], [[12, 0, 0], [0, 0, 5]])
    assert sculpt.colors is not None
    named = {"r": [255, 0, 0], "b": [0, 0, 255], "w": [255, 255, 255]}
    assert sculpt.colors.tolist() == [named[letter] for letter in expected + "www"]


def test_binary_stage_and_left_handed_faces(tmp_path: Path) -> None:
    pxr = pytest.importorskip("pxr.Usd")
    text = tmp_path / "left.usda"
    text.write_text(stage([RED], "constant", orientation='uniform token orientation = "leftHanded"'))
    binary = tmp_path / "left.usdc"
    pxr.Stage.Open(str(text)).Export(str(binary))
    sculpt = read_sculpt(binary)
    assert sculpt.triangles.tolist()[0] == [2, 1, 0]


@pytest.mark.parametrize("indices", ["[0,1,2,3,1,4]", "[0,1,2,3,1,4,77]", "[0,1,2,3,1,4,-2]"])
def test_wrong_indices_are_one_error(tmp_path: Path, indices: str) -> None:
    pytest.importorskip("pxr")
    file = tmp_path / "bad.usda"
    file.write_text(stage([RED], "constant", indices))
    with pytest.raises(InputError, match=r"bad\.usda, /body/side"):
        read_sculpt(file)


def test_damaged_binary_stages_read_or_say_so(tmp_path: Path) -> None:
    pxr = pytest.importorskip("pxr.Usd")
    text, whole = tmp_path / "a.usda", tmp_path / "a.usdc"
    text.write_text(stage([RED], "constant"))
    pxr.Stage.Open(str(text)).Export(str(whole))
    content = whole.read_bytes()
    random = np.random.default_rng(7)
    for trial in range(6):
        damaged = bytearray(content[: len(content) // 2] if trial == 0 else content)
        for place in random.integers(8, len(damaged), 3 * trial):
            damaged[place] = int(random.integers(256))
        file = tmp_path / f"damaged{trial}.usdc"
        file.write_bytes(damaged)
        try:
            sculpt = read_sculpt(file)
        except InputError as error:
            assert file.name in str(error)
        else:
            assert sculpt.triangles.max() < len(sculpt.positions)


def test_without_the_package_the_message_says_how_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a.usda"
    file.write_text(stage([RED], "constant"))
    monkeypatch.setattr(module, "find_spec", lambda name: None)
    with pytest.raises(InputError, match="pip install"):
        read_sculpt(file)


def test_a_crash_and_a_hang_of_the_other_process_are_errors(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("pxr")
    file = tmp_path / "a.usda"
    file.write_text(stage([RED], "constant"))
    monkeypatch.setattr(module, "_CHILD", "import os; os.abort()")
    with pytest.raises(InputError, match="damaged"):
        read_sculpt(file)
    monkeypatch.setattr(module, "_CHILD", "import time; time.sleep(60)")
    monkeypatch.setattr(module, "MAX_SECONDS", 0.3)
    with pytest.raises(InputError, match="come to an end"):
        read_sculpt(file)

    def stop(stage: str, done: float) -> None:
        raise Cancelled(str(done))

    with pytest.raises(Cancelled):
        read_sculpt(file, progress=stop)
