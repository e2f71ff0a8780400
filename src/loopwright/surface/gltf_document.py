"""A glTF document as nothing but checked values: every wrong type, index or length is one clear error."""

from __future__ import annotations

import base64
import binascii
import json
import struct
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InputError
from loopwright.surface.json_value import CUT_SHORT, JsonValue
from loopwright.surface.parts import input_error

JSON_CHUNK, BIN_CHUNK = 0x4E4F534A, 0x004E4942
COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}


class GltfDocument:
    """The JSON of a glTF or GLB file with its binary data."""

    def __init__(self, path: Path) -> None:
        self.path, self.name = path, path.name
        data = path.read_bytes()
        text, self._chunk = _split_glb(data, path.name) if data.startswith(b"glTF") else (data, None)
        self.root = JsonValue(_parse(text, path.name), path.name, "")
        self._buffers: dict[int, bytes] = {}

    def accessor(self, index: int, label: JsonValue) -> NDArray[Any]:
        """Return (count, width) values in their stored type; normalised integers become fractions.

        Raises
        ------
        InputError
            If the values do not lie wholly inside their buffer.
        """
        try:
            accessor = self.root.get("accessors").item(index)
        except InputError as error:
            raise label.fail(f"accessor {index} does not exist") from error
        count, width = accessor.get("count").integer(), accessor.get("type").text()
        if width not in WIDTHS:
            raise accessor.fail(f"the type {width[:16]!r} is unknown")
        dtype = self._dtype(accessor)
        if accessor.has("bufferView"):
            offset = accessor.integer_or("byteOffset", 0)
            values = self._view(accessor.get("bufferView"), offset, count, WIDTHS[width], dtype)
        elif accessor.has("sparse"):
            if count > self.path.stat().st_size * 64:
                raise accessor.fail(f"{count} values are more than the file can hold")
            values = np.zeros((count, WIDTHS[width]), dtype)
        else:
            raise accessor.fail("it has no 'bufferView', so no data")
        if accessor.has("sparse"):
            values = self._with_sparse(accessor.get("sparse"), values, dtype)
        if accessor.has("normalized") and accessor.get("normalized").value is True and dtype.kind != "f":
            return np.maximum(values / float(np.iinfo(dtype).max), -1.0)
        return values

    def _dtype(self, owner: JsonValue) -> np.dtype[Any]:
        code = owner.get("componentType").integer()
        if code not in COMPONENTS:
            raise owner.fail(f"the component type {code} is unknown")
        return np.dtype(COMPONENTS[code])

    def _with_sparse(self, sparse: JsonValue, values: NDArray[Any], dtype: np.dtype[Any]) -> NDArray[Any]:
        count, width = sparse.get("count").integer(), values.shape[1]
        where, what = sparse.get("indices"), sparse.get("values")
        offset = where.integer_or("byteOffset", 0)
        places = self._view(where.get("bufferView"), offset, count, 1, self._dtype(where))[:, 0]
        if places.dtype.kind == "f" or (count and int(places.max()) >= len(values)):
            raise sparse.fail("a place lies outside the values")
        changed = values.copy()
        fresh = self._view(what.get("bufferView"), what.integer_or("byteOffset", 0), count, width, dtype)
        changed[places] = fresh
        return changed

    def _view(self, owner: JsonValue, offset: int, count: int, width: int, dtype: np.dtype[Any]) -> NDArray[Any]:
        view = self.root.get("bufferViews").item(owner.integer())
        for extension in ("EXT_meshopt_compression", "KHR_meshopt_compression"):
            if view.has("extensions") and view.get("extensions").has(extension):
                raise view.fail(f"its data are packed with {extension}", "export without compression")
        data = self._buffer(view.get("buffer"))
        start, length = view.integer_or("byteOffset", 0), view.get("byteLength").integer()
        item = width * dtype.itemsize
        stride = view.integer_or("byteStride", 0) or item
        if start + length > len(data):
            raise view.fail(f"it ends at byte {start + length} of a buffer of {len(data)} bytes")
        if stride < item or (count and offset + (count - 1) * stride + item > length):
            raise owner.fail(f"{count} values of {item} bytes do not fit into its {length} bytes")
        if count == 0:
            return np.zeros((0, width), dtype)
        return np.ndarray((count, width), dtype, data, start + offset, (stride, dtype.itemsize))

    def _buffer(self, owner: JsonValue) -> bytes:
        index = owner.integer()
        if index not in self._buffers:
            buffer = self.root.get("buffers").item(index)
            data = self._load(buffer) if buffer.has("uri") else self._chunk
            if data is None or (index > 0 and not buffer.has("uri")):
                raise buffer.fail("it has neither a 'uri' nor a binary chunk")
            if buffer.get("byteLength").integer() > len(data):
                raise buffer.fail(f"it should have {buffer.get('byteLength').integer()} bytes, there are {len(data)}")
            self._buffers[index] = data
        return self._buffers[index]

    def _load(self, buffer: JsonValue) -> bytes:
        uri = buffer.get("uri").text()
        if uri.startswith("data:"):
            head, _, body = uri.partition(",")
            try:
                return base64.b64decode(body, validate=True) if head.endswith(";base64") else unquote(body).encode()
            except (binascii.Error, ValueError) as error:
                raise buffer.fail("its embedded data are no valid base64") from error
        if ":" in uri or uri.startswith(("/", "\\")) or "\0" in unquote(uri):
            raise buffer.fail("its data lie elsewhere", "put the .bin file beside the .gltf, or export as GLB")
        file = self.path.parent / unquote(uri)
        if not file.is_file():
            shown = unquote(uri)[:80]
            raise buffer.fail(f"the file {shown!r} is missing", "put it beside the .gltf, or export as GLB")
        return file.read_bytes()


def _split_glb(data: bytes, name: str) -> tuple[bytes, bytes | None]:
    """Return the JSON chunk and the binary chunk of a GLB container."""
    if len(data) < 20:
        raise input_error(name, f"byte {len(data)}", "the GLB ends inside its header", CUT_SHORT)
    version, length, json_length, kind = struct.unpack_from("<IIII", data, 4)
    if version != 2:
        raise input_error(name, "byte 4", f"this is version {version} of GLB", "export as glTF 2.0")
    if length > len(data):
        raise input_error(name, f"byte {len(data)}", f"the GLB should have {length} bytes", CUT_SHORT)
    if kind != JSON_CHUNK or 20 + json_length > len(data):
        raise input_error(name, "byte 12", "the GLB's first chunk is not its JSON", CUT_SHORT)
    at = 20 + json_length
    chunk: bytes | None = None
    while at + 8 <= length and chunk is None:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > len(data):
            raise input_error(name, f"byte {at}", "a chunk reaches beyond the end of the GLB", CUT_SHORT)
        chunk = data[at + 8 : at + 8 + size] if kind == BIN_CHUNK else None
        at += 8 + size
    return data[20 : 20 + json_length], chunk


def _parse(text: bytes, name: str) -> Any:
    if not text.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        problem = "this is no glTF, it starts neither like a GLB nor like JSON"
        raise input_error(name, "", problem, "export the sculpt as glTF 2.0 or GLB")
    try:
        value = json.loads(text.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        place = f"line {error.lineno} column {error.colno}"
        raise input_error(name, place, "its JSON is broken", CUT_SHORT) from error
    except (ValueError, RecursionError) as error:
        raise input_error(name, "", "its JSON is broken", CUT_SHORT) from error
    if not isinstance(value, dict) or not isinstance(value.get("asset"), dict):
        raise input_error(name, "", "this JSON is no glTF, it has no 'asset'", "export the sculpt as glTF 2.0")
    return value
