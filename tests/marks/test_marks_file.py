"""Marks files: what is written is read back, and every mistake names its place and the way out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.errors import InputError, MarksError
from loopwright.marks.marks_file import Marks
from loopwright.marks.read_marks import read_marks
from loopwright.marks.use_marks import use_marks
from loopwright.marks.write_marks import to_document, write_marks
from loopwright.options import BuildOptions
from loopwright.wishes import FixedPoint, FlowLine, Pin, PolePin, SizeDab

FULL = Marks(
    budget=4000,
    mirror="x",
    mirror_shape=False,
    region_names={(200, 60, 60): "lips", (240, 220, 90): "cheeks", (20, 20, 20): "slit"},
    leave_open=((20, 20, 20),),
    sizes={"lips": 0.25},
    size_dabs=(SizeDab((0.0, 1.0, 2.0), 0.5, 0.125),),
    vertex_sizes=np.array([0.0, 0.5, 0.25]),
    pins=(Pin("lips", "cheeks", 24), Pin("lips", "cheeks", 8, (1.0, 0.0, 0.5))),
    points=(FixedPoint((0.0, 0.0, 1.0), "chin"),),
    poles=(PolePin("lips", "none"), PolePin("cheeks", "some")),
    lines=(
        FlowLine(((0.0, 0.0, 1.0), (0.5, 0.0, 1.0)), False, "jaw"),
        FlowLine(((0.0, 0.0, 1.0), (0.5, 0.0, 1.0), (0.5, 1.0, 1.0)), True, "ring"),
    ),
    edits=(
        {"op": "insert_loop", "near": [0.5, 1.0, 0.0], "along": [1, 0, 0]},
        {"op": "split_region", "near": [0.5, 1.0, 0.0], "name": "brow", "color": [1, 2, 3]},
    ),
)
NUMBER = st.floats(-1e6, 1e6, allow_subnormal=False)
POINT = st.tuples(NUMBER, NUMBER, NUMBER)


def write(folder: Path, document: object) -> Path:
    path = folder / "marks.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def test_all_of_it_is_read_back(tmp_path: Path) -> None:
    path = write_marks(tmp_path / "marks.json", FULL)
    again = read_marks(path)
    assert again == FULL
    assert again.vertex_sizes is not None and FULL.vertex_sizes is not None
    np.testing.assert_array_equal(again.vertex_sizes, FULL.vertex_sizes)
    first = path.read_bytes()
    write_marks(path, again)
    assert path.read_bytes() == first
    assert sorted(p.name for p in tmp_path.iterdir()) == ["marks.json", "marks.npy"], "a draft is left"


def test_the_file_is_json_to_others(tmp_path: Path) -> None:
    # Source: RFC 8259 as Python's json module reads it.
    path = write_marks(tmp_path / "marks.json", FULL)
    document = json.loads(path.read_text(encoding="utf-8"))
    expected = json.loads(json.dumps({**to_document(FULL), "vertex_sizes": "marks.npy"}))
    assert document == expected


@given(st.lists(POINT, min_size=3, max_size=6, unique=True), st.booleans(), st.text(min_size=1).map(str.strip))
def test_lines_survive_to_the_bit(points: list[Any], closed: bool, name: str) -> None:
    import tempfile

    marks = Marks(lines=(FlowLine(tuple(points), closed, name or "line 1"),))
    with tempfile.TemporaryDirectory() as folder:
        assert read_marks(write_marks(Path(folder) / "marks.json", marks)) == marks


def test_a_file_with_only_its_version_asks_for_nothing(tmp_path: Path) -> None:
    marks = read_marks(write(tmp_path, {"loopwright_marks": 1}))
    assert marks == Marks()
    assert use_marks(BuildOptions(), marks) == BuildOptions()


V = {"loopwright_marks": 1}
LIPS = {**V, "regions": {"lips": "#ff0000"}}
LINE = [[0, 0, 0], [1, 0, 0]]


@pytest.mark.parametrize(
    ("document", "place", "words"),
    [
        ("{", "line 1", "not JSON"),
        ('{"loopwright_marks": 1, "budget": NaN}', "NaN", "finite number"),
        ('{"loopwright_marks": 1, "budget": 1, "budget": 2}', "budget", "given twice"),
        ("[1]", "the whole file", "an object"),
        ({}, "the whole file", "must begin with"),
        ({"loopwright_marks": 2}, "loopwright_marks", "newer"),
        ({**V, "bugdet": 3}, "the whole file", 'did you mean "budget"'),
        ({**V, "budget": 2.5}, "budget", "whole number"),
        ({**V, "budget": 0}, "budget", "from 100 to 200,000"),
        ({**V, "budget": 200_001}, "budget", "from 100 to 200,000 is expected here, not 200001"),
        ({**V, "budget": True}, "budget", "whole number"),
        ({**V, "mirror": "w"}, "mirror", "not one of"),
        ({**V, "mirror_shape": 1}, "mirror_shape", "true or false"),
        ({**V, "regions": {"lips": "red"}}, "regions/lips", "not a colour"),
        ({**V, "regions": {"a": "#111111", "b": "#111"}}, "regions/b", "named"),
        ({**V, "leave_open": ["lips"]}, "leave_open/0", "not a colour"),
        ({**V, "regions": {"open": "#111"}, "leave_open": ["opne"]}, "leave_open/0", 'did you mean "open"?'),
        ({**V, "regions": {"open": "#111"}, "leave_open": ["#11"]}, "leave_open/0", "not a colour"),
        ({**V, "sizes": {"lips": 0}}, "sizes/lips", "greater than 0"),
        ({**V, "size_dabs": [{"at": [0, 0], "radius": 1, "length": 1}]}, "size_dabs/0/at", "three numbers"),
        ({**V, "size_dabs": [{"at": [0, 0, 0], "radius": 1}]}, "size_dabs/0", '"length" is missing'),
        ({**V, "vertex_sizes": "marks.json"}, "vertex_sizes", "cannot be read as a .npy array"),
        ({**V, "pins": [{"between": ["a", "a"], "count": 3}]}, "pins/0/between", "twice"),
        ({**V, "pins": [{"between": ["a"], "count": 3}]}, "pins/0/between", "two regions"),
        ({**V, "pins": [{"between": ["a", "b"], "count": 0}]}, "pins/0/count", "from 1 up"),
        (
            {**V, "pins": [{"between": ["a", "b"], "count": 3}, {"between": ["b", "a"], "count": 4}]},
            "pins/1",
            "pinned to 3 as a/b in pins/0",
        ),
        (
            {
                **LIPS,
                "pins": [{"between": ["lips", "#ff0"], "count": 3}, {"between": ["#ffff00", "#f00"], "count": 4}],
            },
            "pins/1",
            "border #ffff00/#ff0000 is pinned to 3 as lips/#ffff00 in pins/0; keep one of the two",
        ),
        ({**LIPS, "pins": [{"between": ["lips", "#ff0000"], "count": 3}]}, "pins/0/between", "named twice"),
        ({**LIPS, "sizes": {"lips": 1, "#F00": 2}}, "sizes/#F00", "same region as in sizes/lips, whose size is 1"),
        ({**V, "sizes": {"#FF0000": 1, "#F00": 2}}, "sizes/#F00", "same region as in sizes/#FF0000"),
        ({**V, "points": [{"at": [0, 0, "x"]}]}, "points/0/at/2", "finite number"),
        ({**V, "poles": [{"region": "a", "wish": "many"}]}, "poles/0/wish", "none, some"),
        ({**V, "lines": [{"points": [[0, 0, 0]]}]}, "lines/0/points", "at least 2"),
        ({**V, "lines": [{"points": LINE, "closed": True}]}, "lines/0/points", "at least 3"),
        ({**V, "lines": [{"points": LINE, "close": True}]}, "lines/0", 'did you mean "closed"'),
    ],
)
def test_mistakes_name_the_file_the_place_and_the_way_out(
    tmp_path: Path, document: object, place: str, words: str
) -> None:
    path = write(tmp_path, document)
    with pytest.raises(MarksError) as caught:
        read_marks(path)
    text = str(caught.value)
    assert "marks.json" in text and words in text
    assert place in text or place in [str(p) for p in caught.value.places]


@pytest.mark.parametrize(
    ("document", "where"),
    [
        (
            b'{"a": {"b": "c: {", "d": 1},\n "b": [1, {"d": 2,\n  "x": 3, "\\u0064": 4}]}',
            'line 3, column 11: the name "d"',
        ),
        (b'{"NaN": "NaN",\n\n "a": [1, -Infinity]}', "line 3, column 11: -Infinity is"),
        (b'{"a": NaN}', "line 1, column 7: NaN is"),
        (b'{"a": "\xc3\xa4",\n "\xff": 1}', "line 2, byte 3: this is not UTF-8"),
        ('{"a": 1}'.encode("utf-16"), "line 1, byte 1: this is not UTF-8"),
    ],
)
def test_faults_of_json_name_line_and_place(tmp_path: Path, document: bytes, where: str) -> None:
    path = tmp_path / "marks.json"
    path.write_bytes(document)
    with pytest.raises(MarksError) as caught:
        read_marks(path)
    assert str(caught.value).startswith(f"{path}: {where}")


def test_files_that_are_no_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_marks(tmp_path / "missing.json")
    path = tmp_path / "marks.json"
    path.write_bytes(b'{"loopwright_marks": 1, "mirror": "\xff"}')
    with pytest.raises(MarksError, match="not UTF-8"):
        read_marks(path)
    path.write_text("[" * 200_000, encoding="utf-8")
    with pytest.raises(MarksError, match="nested too deeply"):
        read_marks(path)


def test_a_number_of_thousands_of_digits_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "marks.json"
    path.write_text('{"budget": ' + 5001 * "9" + "}")
    with pytest.raises(MarksError, match=r"marks\.json: a number in it has thousands of digits"):
        read_marks(path)


@pytest.mark.parametrize(("name", "words"), [("none.npy", "there is no such file"), ("folder", "cannot be read (")])
def test_a_file_of_sizes_that_cannot_be_read_is_like_any_other(tmp_path: Path, name: str, words: str) -> None:
    (tmp_path / "folder").mkdir()
    path = write(tmp_path, {**V, "vertex_sizes": name})
    with pytest.raises(InputError) as caught:
        read_marks(path)
    assert str(caught.value).startswith(f"{path}: vertex_sizes: {tmp_path / name}: ") and words in str(caught.value)
    assert caught.value.places == (str(tmp_path / name),)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04broken", b"\x93NUMPY"])
def test_a_file_of_sizes_that_is_no_array_is_a_mistake_in_the_marks(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "s.npy").write_bytes(content)
    with pytest.raises(MarksError, match=r"vertex_sizes: .*cannot be read as a \.npy array"):
        read_marks(write(tmp_path, {**V, "vertex_sizes": "s.npy"}))


@pytest.mark.parametrize("values", [[[1.0]], [-1.0], [np.inf], ["a"]])
def test_sizes_per_vertex_must_be_lengths(tmp_path: Path, values: list[Any]) -> None:
    np.save(tmp_path / "s.npy", np.array(values))
    with pytest.raises(MarksError, match="vertex_sizes"):
        read_marks(write(tmp_path, {**V, "vertex_sizes": "s.npy"}))


def test_marks_lie_over_options() -> None:
    base = BuildOptions(budget=900, pins=(Pin("cheeks", "lips", 6), Pin("a", "b", 3)), sizes={"lips": 1.0, "a": 2.0})
    used = use_marks(base, FULL)
    assert used.budget == 4000 and used.mirror == "x" and used.mirror_shape is False
    assert used.sizes == {"lips": 0.25, "a": 2.0}
    assert {(p.region_a, p.region_b, p.near): p.count for p in used.pins} == {
        ("lips", "cheeks", None): 24,
        ("a", "b", None): 3,
        ("lips", "cheeks", (1.0, 0.0, 0.5)): 8,
    }
    assert used.lines == FULL.lines and used.points == FULL.points and used.poles == FULL.poles


def test_wishes_given_twice_alike_by_name_and_by_colour_are_one(tmp_path: Path) -> None:
    pins = [{"between": ["lips", "a"], "count": 3}, {"between": ["a", "#f00"], "count": 3}]
    marks = read_marks(write(tmp_path, {**LIPS, "pins": pins, "sizes": {"#f00": 2.0, "lips": 2}}))
    assert marks.pins == (Pin("lips", "a", 3),) and marks.sizes == {"#ff0000": 2.0}


@pytest.mark.parametrize(
    ("edit", "problem"),
    [
        ({"op": "melt"}, "op is 'melt'"),
        ({"op": "insert_loop"}, "needs near"),
        ({"op": "insert_loop", "near": [0, 0, 0], "by": 2}, "by means nothing here"),
        ({"op": "insert_loop", "near": [0, 0]}, "near must be three finite numbers"),
        ({"op": "insert_loop", "near": [0, 0, 10**400]}, "near must be three finite numbers"),
        ({"op": "change_count", "near": [0, 0, 0], "by": 1.5}, "by must be a whole number"),
        ({"op": "turn", "near": [0, 0, 0], "what": "all"}, "what is 'all'"),
        ({"op": "merge_regions", "regions": ["lips"]}, "at least two different"),
        ({"op": "split_region", "near": [0, 0, 0], "name": "a", "color": "reddish"}, "not a colour"),
        ([], "an object {...} is expected"),
    ],
)
def test_wrong_edits_name_file_place_and_reason(tmp_path: Path, edit: Any, problem: str) -> None:
    path = tmp_path / "marks.json"
    good = {"op": "merge_regions", "regions": ["lips", "#C0D0E0"]}
    path.write_text(json.dumps({"loopwright_marks": 1, "edits": [good, edit]}))
    with pytest.raises(MarksError) as caught:
        read_marks(path)
    assert str(caught.value).startswith(f"{path}: edits/1: ") and problem in str(caught.value)


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        ({"pins": [{"between": ["lips"], "count": 8}]}, "but 1 is given"),
        ({"points": [{"at": [1.0]}]}, "but 1 is given"),
        ({"lines": [{"points": [[0, 0, 1], [0, 0, 1]]}]}, "but 1 is given"),
        ({"lines": [{"points": []}]}, "but 0 are given"),
    ],
)
def test_one_is_told_in_the_singular(tmp_path: Path, marks: dict[str, Any], words: str) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({"loopwright_marks": 1, **marks}))
    with pytest.raises(MarksError, match=words):
        read_marks(path)
