"""Files that are no sculpts: one clear error each, whatever is wrong with them."""

from __future__ import annotations

import io
import os
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopwright.errors import Cancelled, InputError
from loopwright.surface.read import read_sculpt

PLY_HEAD = "ply\nformat {} 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n"
FACE_HEAD = "element face {}\nproperty list {} {} vertex_indices\nend_header\n"
XYZ = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], "<f4").tobytes()
LE = "binary_little_endian"


def binary_ply(vertices: object = 3, faces: object = 1, count: str = "uchar", index: str = "int", body: bytes = b"",
               form: str = LE) -> bytes:  # fmt: skip
    return (PLY_HEAD.format(form, vertices) + FACE_HEAD.format(faces, count, index)).encode() + XYZ + body


def ascii_ply(rows: str, vertices: object = 3, faces: object = 1) -> bytes:
    return (PLY_HEAD.format("ascii", vertices) + FACE_HEAD.format(faces, "uchar", "int") + rows).encode()


def face(*corners: int) -> bytes:
    return struct.pack(f"<B{len(corners)}i", len(corners), *corners)


NAN = float("nan")
STL_FACET = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
# name of the file, its bytes, and what the message must say
BAD: dict[str, tuple[str, bytes, str]] = {
    "empty": ("a.ply", b"", "empty"),
    "one byte": ("a.ply", b"p", "does not start"),
    "blank": ("a.obj", b"   \n\n", "no vertices"),
    "noise": ("a.obj", bytes(range(256)) * 40, "no vertices"),
    "noise of unknown kind": ("a.xyz", bytes(range(256)) * 40, "PLY, OBJ, STL, glTF"),
    "words": ("a.txt", b"once upon a time\n" * 99, "PLY, OBJ, STL, glTF"),
    "picture": ("a.ply", b"\x89PNG\r\n\x1a\n" + bytes(100), "header line 1"),
    "header cut": ("a.ply", binary_ply()[:70], "cut short"),
    "no end_header": ("a.ply", b"ply\nformat ascii 1.0\n" + b"comment x\n" * 9, "end_header"),
    "unknown form": ("a.ply", binary_ply(form="binary_middle_endian"), "header line 2"),
    "no form": ("a.ply", b"ply\nelement vertex 3\nproperty float x\nend_header\n", "'format'"),
    "negative count in header": ("a.ply", binary_ply(vertices=-3), "header line 3"),
    "count of words": ("a.ply", binary_ply(vertices="many"), "header line 3"),
    "gigantic vertex count": ("a.ply", binary_ply(vertices=4_000_000_000), "says 4000000000"),
    "gigantic face count": ("a.ply", binary_ply(faces=4_000_000_000, body=face(0, 1, 2)), "says 4000000000"),
    "count beyond all": ("a.ply", binary_ply(vertices=10**30), "header line 3"),
    "gigantic ascii count": ("a.ply", ascii_ply("0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n", faces=10**15), "ends after 4"),
    "float list count": ("a.ply", binary_ply(count="float"), "whole number"),
    "float indices": ("a.ply", binary_ply(index="float", body=bytes(20)), "whole numbers"),
    "unknown type": ("a.ply", binary_ply(index="quad"), "'quad'"),
    "faces cut": ("a.ply", binary_ply(faces=2, body=face(0, 1, 2)), "row 2 of 'face'"),
    "list longer than file": ("a.ply", binary_ply(body=b"\xff" + bytes(12)), "row 1 of 'face'"),
    "list of 4e9": ("a.ply", binary_ply(count="uint", body=b"\xff" * 4 + bytes(12)), "row 1 of 'face'"),
    "list of -1": ("a.ply", binary_ply(count="char", body=b"\xff" + bytes(12)), "row 1 of 'face'"),
    "edge for a face": ("a.ply", binary_ply(body=face(0, 1) + bytes(4)), "face 1: a face needs three"),
    "index too high": (
        "a.ply",
        binary_ply(body=face(0, 1, 3)),
        "triangle 0 (counted from 0): it uses vertex 3, but there are only 3;",
    ),
    "index negative": ("a.ply", binary_ply(body=face(0, 1, -1)), "vertex -1"),
    "index enormous": ("a.ply", binary_ply(index="uint", body=b"\x03" + b"\xff" * 12), "vertex 4294967295"),
    "points without faces": ("a.ply", binary_ply(faces=0), "point cloud"),
    "no vertices": ("a.ply", binary_ply(vertices=0, faces=0), "no vertices"),
    "no z": ("a.ply", binary_ply().replace(b"float z", b"float w"), "x, y and z"),
    "twice the same element": ("a.ply", binary_ply().replace(b"element face", b"element vertex"), "same name"),
    "property without element": ("a.ply", b"ply\nformat ascii 1.0\nproperty int a\nend_header\n", "before the first"),
    "vertex is NaN": ("a.ply", ascii_ply("0 0 0\nnan 0 0\n0 1 0\n3 0 1 2\n"), "vertex 1 (counted from 0): its"),
    "vertex is infinite": ("a.ply", ascii_ply("0 0 0\n1 0 0\n0 inf 0\n3 0 1 2\n"), "vertex 2"),
    "vertex beyond all": ("a.obj", b"v 0 0 0\nv 1e200 0 0\nv 0 1 0\nf 1 2 3\n", "line 2: its position (1e+200, "),
    "words for numbers": ("a.ply", ascii_ply("0 0 0\n1 zero 0\n0 1 0\n3 0 1 2\n"), "line 11: 'zero'"),
    "short line": ("a.ply", ascii_ply("0 0 0\n1 0\n0 1 0\n3 0 1 2\n"), "line 11"),
    "fraction as index": ("a.ply", ascii_ply("0 0 0\n1 0 0\n0 1 0\n3 0 1.5 2\n"), "whole numbers"),
    "ascii list too long": ("a.ply", ascii_ply("0 0 0\n1 0 0\n0 1 0\n9 0 1 2\n"), "line 13"),
    "ascii list of 1e300": ("a.ply", ascii_ply("0 0 0\n1 0 0\n0 1 0\n1e300 0 1 2\n"), "line 13"),
    "ascii cut": ("a.ply", ascii_ply("0 0 0\n1 0 0\n"), "ends after 2"),
    "all in one point": ("a.obj", b"v 1 2 3\nv 1 2 3\nv 1 2 3\nf 1 2 3\n", "one point"),
    "obj without faces": ("a.obj", b"v 0 0 0\nv 1 0 0\n", "point cloud"),
    "obj index 0": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "line 4: '0'"),
    "obj index of words": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf one 1 2\n", "line 4: 'one'"),
    "obj index too high": (
        "a.obj",
        b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4\n",
        "line 4: a face uses vertex 4, but the file has only 3 (counted from 1)",
    ),
    "obj index of 30 digits": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 " + b"9" * 30 + b"\n", "line 4"),
    "obj index before the first": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf -1 -2 -4\n", "line 4"),
    "obj face of two": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "line 4"),
    "obj vertex of two": ("a.obj", b"v 0 0 0\nv 1 0\nv 0 1 0\nf 1 2 3\n", "line 2"),
    "obj vertex of words": ("a.obj", b"v 0 0 0\nv 1 x 0\nv 0 1 0\nf 1 2 3\n", "line 2: 'x'"),
    "obj NaN": ("a.obj", b"v 0 0 0\n# a\n\nv 1 nan 0\nv 0 1 0\nf 1 2 3\n", "line 4: its position (1, nan, 0)"),
    "stl cut": ("a.stl", bytes(80) + struct.pack("<I", 2) + bytes(50), "says 2 facets"),
    "stl header cut": ("a.stl", bytes(30), "header"),
    "stl gigantic": ("a.stl", bytes(80) + b"\xff" * 4 + bytes(50), "says 4294967295"),
    "stl of nothing": ("a.stl", bytes(84), "no vertices"),
    "stl NaN": (
        "a.stl",
        bytes(80) + struct.pack("<I12fH", 1, 0, 0, 0, NAN, *[0.0] * 8, 0),
        "triangle 0, corner 0 (counted from 0)",
    ),
    "stl signalling NaN": (
        "a.stl",
        bytes(80) + struct.pack("<I48s2x", 1, bytes(16) + b"\x01\x00\xa0\x7f" + bytes(28)),
        "triangle 0, corner 0",
    ),
    "ply signalling NaN": (
        "a.ply",
        binary_ply(body=face(0, 1, 2)).replace(XYZ, XYZ[:12] + b"\x01\x00\xa0\x7f" + XYZ[16:]),
        "vertex 1 (counted from 0)",
    ),
    "stl text cut": ("a.stl", ("solid a\n" + STL_FACET * 2).encode(), "endsolid"),
    "stl text cut in a facet": ("a.stl", ("solid a\n" + STL_FACET * 2).encode()[:-12], "do not make"),
    "stl words": ("a.stl", f"solid a\n{STL_FACET.replace('1 0 0', '1 a 0')}endsolid".encode(), "'a'"),
    "stl corner of two": ("a.stl", f"solid a\n{STL_FACET.replace('1 0 0', '1 0')}endsolid".encode(), "line 5"),
    "glb cut": ("a.glb", b"glTF\x02\0\0\0", "cut short"),
    "glb of another version": ("a.glb", b"glTF" + struct.pack("<4I", 1, 20, 0, 0), "version 1"),
    "glb longer than it is": ("a.glb", b"glTF" + struct.pack("<4I", 2, 999, 0, 0x4E4F534A), "999 bytes"),
    "glb chunk too long": ("a.glb", b"glTF" + struct.pack("<4I", 2, 20, 2**31, 0x4E4F534A), "first chunk"),
    "obj index too high before its vertices": (
        "a.obj",
        b"f 1 2 9\nv 0 0 0\nv 1 0 0\nv 0 1 0\n",
        "line 1: a face uses vertex 9",
    ),
    "obj index too far back": (
        "a.obj",
        b"v 0 0 0\nv 1 0 0\nv 0 1 0\n\nf -1 -2 -4\n",
        "line 5: the index -4 counts back",
    ),
    "glb that is none": ("a.glb", b"\x89PNG\r\n\x1a\n" + bytes(40), "this is no glTF"),
    "json broken": ("a.gltf", b'{"asset": ', "line 1"),
    "json too deep": ("a.gltf", b'{"asset":' + b"[" * 200_000, "JSON is broken"),
    "json of something else": ("a.gltf", b'{"a": 1}', "no 'asset'"),
    "gltf with nothing": ("a.gltf", b'{"asset": {"version": "2.0"}}', "no vertices"),
    "usd cut": ("a.usdc", b"PXR-USDC" + bytes(40), "USD"),
    "usd text broken": ("a.usda", b"#usda 1.0\ndef Mesh {{{", "USD"),
    "usd without mesh": ("a.usda", b'#usda 1.0\ndef Xform "a" {}\n', "no mesh"),
    "zip": ("a.usdz", b"PK\x03\x04" + bytes(60), "USD"),
}


def read_error(file: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_sculpt(file)
    return str(caught.value)


@pytest.mark.parametrize("what", BAD)
def test_one_clear_error(tmp_path: Path, what: str) -> None:
    name, data, said = BAD[what]
    if "usd" in name:
        pytest.importorskip("pxr")
    file = tmp_path / name
    file.write_bytes(data)
    message = read_error(file)
    assert name in message and said in message
    assert "\n" not in message and message.endswith(".") and ";" in message
    assert len(message) < 400
    # what a library says of itself is of no use to a person
    assert not any(word in message for word in ("Expecting", "char 0", "pxr", "Sdf", "Usd", "Error", "0x"))


def test_missing_folder_and_special(tmp_path: Path) -> None:
    assert "no such file" in read_error(tmp_path / "nothing.ply")
    assert "folder" in read_error(tmp_path)
    assert "regular" in read_error(Path("a\0b.ply"))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.ply")
        assert "regular" in read_error(tmp_path / "pipe.ply")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_no_permission(tmp_path: Path) -> None:
    file = tmp_path / "mine.ply"
    file.write_bytes(binary_ply(body=face(0, 1, 2)))
    file.chmod(0)
    assert "not permitted" in read_error(file)


def test_denied_by_the_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "mine.ply"
    file.write_bytes(binary_ply(body=face(0, 1, 2)))

    def deny(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    assert "not permitted" in read_error(file)


def test_a_lack_of_memory_is_told_with_the_path_as_typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "deep" / "full.obj"
    file.parent.mkdir()
    file.write_text("v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 3\n")

    def full(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("loopwright.surface.read.sculpt_from_parts", full)
    with pytest.raises(InputError) as caught:
        read_sculpt(file)
    assert str(caught.value).startswith(f"{file}: there is not enough memory")
    assert str(file) in caught.value.places


def test_cancelling_stops_reading(tmp_path: Path) -> None:
    file = tmp_path / "a.ply"
    file.write_bytes(binary_ply(body=face(0, 1, 2)))

    def stop(stage: str, done: float) -> None:
        raise Cancelled(f"stopped at {stage} {done}")

    with pytest.raises(Cancelled):
        read_sculpt(file, progress=stop)


def _samples() -> dict[str, bytes]:
    """Good files to damage: an 80-face ball in every format that needs no process of its own."""
    ball = trimesh.creation.icosphere(subdivisions=1)
    ball.visual.vertex_colors = np.tile([200, 30, 60, 255], (len(ball.vertices), 1))
    samples: dict[str, bytes] = {}
    for name, kind, options in (
        ("ball.ply", "ply", {"encoding": "binary"}), ("text.ply", "ply", {"encoding": "ascii"}),
        ("ball.obj", "obj", {}), ("ball.stl", "stl", {}), ("text.stl", "stl_ascii", {}), ("ball.glb", "glb", {}),
    ):  # fmt: skip
        stream = io.BytesIO()
        data = ball.export(file_type=kind, **options)
        stream.write(data.encode() if isinstance(data, str) else data)
        samples[name] = stream.getvalue()
    mixed = b"".join(face(*range(k % 3, k % 3 + 3 + k % 4)) for k in range(60))
    samples["mixed.ply"] = binary_ply(vertices=60, faces=60)[: -len(XYZ)] + bytes(range(240)) * 3 + mixed
    return samples


SAMPLES = _samples()


@pytest.mark.parametrize("name", SAMPLES)
def test_undamaged_files_read(tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_bytes(SAMPLES[name])
    assert len(read_sculpt(file).triangles) == (150 if name == "mixed.ply" else 80)


@pytest.mark.parametrize("name", SAMPLES)
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damaged_files_read_or_say_so(tmp_path: Path, name: str, data: st.DataObject) -> None:
    """Cut, changed, doubled and missing bytes: a sound sculpt or one clear error, never anything else."""
    content = bytearray(SAMPLES[name])
    early = min(len(content), 600)
    for _ in range(data.draw(st.integers(0, 4))):
        place = data.draw(st.integers(0, (early if data.draw(st.booleans()) else len(content)) - 1))
        content[place] = data.draw(st.sampled_from([0, 10, 32, 45, 48, 57, 123, 127, 128, 255, content[place] ^ 1]))
    if data.draw(st.booleans()):
        del content[data.draw(st.integers(0, len(content))) :]
    if data.draw(st.integers(0, 3)) == 0:
        place = data.draw(st.integers(0, len(content)))
        content[place : place + data.draw(st.integers(0, 9))] = data.draw(st.binary(max_size=12))
    file = tmp_path / name
    file.write_bytes(content)
    try:
        sculpt = read_sculpt(file)
    except InputError as error:
        assert name in str(error) and "\n" not in str(error)
        return
    assert np.isfinite(sculpt.positions).all() and len(sculpt.triangles)
    assert sculpt.triangles.min() >= 0 and sculpt.triangles.max() < len(sculpt.positions)
    assert sculpt.colors is None or sculpt.colors.shape == sculpt.positions.shape
