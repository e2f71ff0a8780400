"""Errors name the file that they come from, once."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import globe

from loopwright.cli.main import main
from loopwright.cli.name_file import name_file, name_marks
from loopwright.counts.find_region import find_region
from loopwright.demo import write_sculpt_ply
from loopwright.errors import InfeasibleError, InputError, LoopwrightError, MarksError, UnknownRegionError
from loopwright.options import BuildOptions, Pin
from loopwright.types import Region, Sculpt
from loopwright.wishes import FixedPoint, FlowLine

MARKS = Path("head.json")


def test_what_only_marks_hold_is_told_with_their_file() -> None:
    with pytest.raises(MarksError, match=r"^head\.json: jaw leaves the sculpt$"), name_marks(MARKS):
        raise MarksError("jaw leaves the sculpt", in_marks=True)


@pytest.mark.parametrize(
    ("path", "in_marks"),
    [(None, True), (MARKS, False)],
)
def test_what_options_may_hold_too_is_told_as_it_is(path: Path | None, in_marks: bool) -> None:
    with pytest.raises(MarksError, match=r'^There is no region "x"$'), name_marks(path):
        raise MarksError('There is no region "x"', in_marks=in_marks)


WISHES = {
    "loopwright_marks": 1,
    "sizes": {"brow": 0.5},
    "pins": [
        {"between": ["lips", "cheeks"], "count": 8},
        {"between": ["cheeks", "nsoe"], "count": 8},
        {"between": ["#ABC", "nsoe"], "count": 8},
    ],
    "poles": [{"region": "chin", "wish": "none"}],
}


@pytest.mark.parametrize(
    ("region", "place"),
    [
        ("nsoe", "pins/1/between/1: "),
        ("#aabbcc", "pins/2/between/0: "),
        ("chin", "poles/0/region: "),
        ("brow", "sizes/brow: "),
    ],
)
def test_a_region_that_marks_misspell_is_told_with_its_place(tmp_path: Path, region: str, place: str) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps(WISHES))
    with pytest.raises(MarksError) as caught, name_marks(path):
        find_region((Region("all", (0, 0, 0)),), region)
    assert str(caught.value) == f'{path}: {place}There is no region "{region}"; the only region is all.'


def test_a_region_that_only_an_option_misspells_is_not_put_on_the_marks(tmp_path: Path) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps(WISHES))
    for file in (path, tmp_path / "gone.json"):
        with pytest.raises(MarksError, match='^There is no region "ear"'), name_marks(file):
            find_region((Region("all", (0, 0, 0)),), "ear")


@pytest.mark.parametrize(("key", "place"), [("pins", "pins/0/between/0"), ("poles", "poles/0/region")])
def test_a_plan_names_the_file_and_the_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], key: str, place: str
) -> None:
    points, triangles = globe(20)
    colors = np.where((points[:, 2] > 0.2)[:, None], (200, 60, 60), (60, 160, 220)).astype(np.uint8)
    write_sculpt_ply(tmp_path / "ball.ply", Sculpt(points, triangles, colors))
    wishes = {
        "pins": [{"between": ["cpa", "rest"], "count": 8}],
        "poles": [{"region": "cpa", "wish": "none"}],
    }
    path = tmp_path / "head.json"
    names = {"cap": "#c83c3c", "rest": "#3ca0dc"}
    path.write_text(json.dumps({"loopwright_marks": 1, "budget": 200, "regions": names, key: wishes[key]}))
    assert main(["plan", str(tmp_path / "ball.ply"), "--marks", str(path), "--quiet", "--mirror", "none"]) == 4
    assert f'{path}: {place}: There is no region "cpa"' in capsys.readouterr().err


def ball(folder: Path) -> str:
    """Write a small ball with a cap, a belt and a base, of which the cap and the base do not touch."""
    points, triangles = globe(20)
    colors = np.where((points[:, 2] > 0.4)[:, None], (200, 60, 60), (60, 160, 220))
    colors[points[:, 2] < -0.4] = (90, 200, 90)
    write_sculpt_ply(folder / "ball.ply", Sculpt(points, triangles, colors.astype(np.uint8)))
    return str(folder / "ball.ply")


@pytest.fixture
def few_triangles(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plan on few triangles, which no option of the command line asks for."""
    monkeypatch.setattr("loopwright.cli.read_wishes.BuildOptions", lambda: BuildOptions(proxy_faces=2000))


REGIONS = {"cap": "#c83c3c", "belt": "#3ca0dc", "base": "#5ac85a"}
TWO: dict[str, object] = {"op": "merge_regions", "regions": ["belt", "base"]}
CAP_LINE = {  # what bears the names of regions that edits are about
    "lines": [{"name": name, "points": [[0, 0, 1], [0.5, 0, 0.8]]} for name in ("cap", "ear")],
    "points": [{"name": "cap", "at": [0, 0, 1]}],
}
FIVE = {"between": ["belt", "cap"], "count": 5}


@pytest.mark.parametrize(
    ("wishes", "place", "words"),
    [
        ({"pins": [FIVE, {"between": ["cap", "base"], "count": 8}]}, "pins/1", "share no border"),
        ({"pins": [{"between": ["belt", "base"], "count": 8}, FIVE]}, "pins/1", "pin belt/cap=5 cannot be met"),
        ({"pins": [{"between": ["#3ca0dc", "cap"], "count": 300}]}, "pins/0", "pin #3ca0dc/cap=300 cannot be met at"),
        ({"sizes": {"cap": 9.0}}, "sizes/cap", "larger than the region"),
        ({"sizes": {"cap": 0.5, "#5ac85a": 9.0}}, "sizes/#5ac85a", "larger than the region"),
        ({"sizes": {"cap": 0.01}}, "sizes/cap", "take about"),
        ({"size_dabs": [{"at": [0, 0, 9], "radius": 0.1, "length": 0.1}]}, "size_dabs/0", "touches no part"),
        ({"lines": [{"name": "jaw", "points": [[0, 0, 1], [0, 0, 9]]}]}, "lines/0", "away from the sculpt"),
        ({"points": [{"at": [0, 0, 1]}, {"at": [0, 0, 9]}]}, "points/1", "away from the sculpt"),
        ({"budget": 20}, "budget: ", "a whole number from 100 to 200,000 is expected here, not 20"),
        ({"regions": {**REGIONS, "tongue": "#112233"}}, "regions/tongue: ", "no painted colour is near #112233"),
        ({"leave_open": ["cap", "#123"]}, "leave_open/1: ", "no painted colour is near #112233"),
        ({"regions": {"gap": "#123"}, "leave_open": ["gap"]}, "leave_open/0: ", "no painted colour is near #112233"),
        ({"leave_open": ["cap", "#c83c3e"]}, "leave_open/0, leave_open/1: ", "both nearest to the painted #c83c3c"),
        (
            {**CAP_LINE, "edits": [TWO, {"op": "merge_regions", "regions": ["cap", "ear"]}]},
            "edits/1: edit 2 (",
            '"ear"',
        ),
        ({**CAP_LINE, "edits": [{**TWO, "name": "cap"}]}, "edits/0: edit 1 (", 'the name "cap" is taken'),
    ],
)
@pytest.mark.usefixtures("few_triangles")
def test_errors_on_wishes_name_the_file_and_where_in_it_they_stand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], wishes: dict[str, object], place: str, words: str
) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({"loopwright_marks": 1, "budget": 200, "regions": REGIONS, **wishes}))
    assert main(["plan", ball(tmp_path), "--marks", str(path), "--quiet", "--mirror", "none"]) in (4, 5)
    told = capsys.readouterr().err
    assert f"{path}: {place}" in told and words in told and told.count(str(path)) == 1


@pytest.mark.parametrize("words", [["--name", "#123=tongue"], ["--leave-open", "#123"]])
def test_a_colour_given_by_hand_is_not_put_on_the_marks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    path = tmp_path / "head.json"
    marks = {"regions": {**REGIONS, "tongue?": "#123"}, "leave_open": ["cap"]}
    path.write_text(json.dumps({"loopwright_marks": 1, "budget": 200, **marks}))
    assert main(["plan", ball(tmp_path), "--marks", str(path), "--quiet", *words]) == 4
    assert capsys.readouterr().err.startswith("loopwright: no painted colour is near #112233")


@pytest.mark.parametrize("between", [[], ["cap"], ["cap", "belt", "base"], 7])
def test_marks_that_have_changed_since_they_were_read_hide_no_error(tmp_path: Path, between: object) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({"loopwright_marks": 1, "pins": [{"between": between, "count": 5}]}))
    wishes = BuildOptions(pins=(Pin("cap", "belt", 5),))
    with pytest.raises(InfeasibleError, match="^it clashes$"), name_marks(path, wishes):
        raise InfeasibleError("it clashes", places=["cap/belt"], about="pins")


def test_an_edit_is_put_on_its_entry_whatever_the_error_is(tmp_path: Path) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({**WISHES, **CAP_LINE, "edits": [TWO]}))
    for error in (InfeasibleError, UnknownRegionError):
        with pytest.raises(error, match=r"head\.json: edits/0: edit 1: no$"), name_marks(path, BuildOptions()):
            raise error("edit 1: no", places=["chin"], in_marks=True, about="edits/0")
    with pytest.raises(MarksError, match=r"head\.json: edit 2: no$"), name_marks(path, BuildOptions()):
        raise MarksError("edit 2: no", places=["cap"], in_marks=True, about="edits/1")  # no such entry any more


def test_a_held_place_that_an_edit_takes_away_is_put_on_its_entry_alone(tmp_path: Path) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({**WISHES, **CAP_LINE, "edits": [TWO]}))
    wishes = BuildOptions(
        lines=(FlowLine(((0.0, 0.0, 1.0), (0.5, 0.0, 0.8)), name="cap"),),
        points=(FixedPoint((0.0, 1.0, 0.0)), FixedPoint((0.0, 0.0, 1.0), "cap")),
        edits=(TWO,),
    )
    with pytest.raises(InfeasibleError, match=r"head\.json: points/1: edit 1: no$"), name_marks(path, wishes):
        raise InfeasibleError("edit 1: no", places=["cap", (0.0, 0.0, 1.0)], in_marks=True, about="points")


@pytest.mark.parametrize("command", ["plan", "carry"])
@pytest.mark.usefixtures("few_triangles")
def test_painted_sizes_of_a_wrong_number_are_put_on_their_entry(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, sculpt = tmp_path / "head.json", ball(tmp_path)
    np.save(tmp_path / "sizes.npy", np.full(7, 0.2))
    path.write_text(json.dumps({"loopwright_marks": 1, "budget": 200, "vertex_sizes": "sizes.npy"}))
    words = {
        "plan": ["plan", sculpt, "--mirror", "none"],
        "carry": ["carry", sculpt, sculpt, "-o", str(tmp_path / "out.json")],
    }
    assert main([*words[command], "--marks", str(path), "--quiet"]) == 4
    told = capsys.readouterr().err
    assert f"{path}: vertex_sizes: The" in told and " 7" in told and told.count(str(path)) == 1


@pytest.mark.usefixtures("few_triangles")
def test_a_pin_given_by_hand_is_not_put_on_the_marks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "head.json"
    path.write_text(json.dumps({"loopwright_marks": 1, "budget": 200, "regions": REGIONS, "pins": [FIVE]}))
    words = ["plan", ball(tmp_path), "--marks", str(path), "--quiet", "--mirror", "none", "--pin", "cap/belt=7"]
    assert main(words) == 5
    told = capsys.readouterr().err
    assert "cap/belt=7 cannot be met" in told and str(path) not in told


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MarksError("it clashes"), "head.json: it clashes"),
        (MarksError("head.json: pins/0: no"), "head.json: pins/0: no"),
        (MarksError("behead.json: no"), "head.json: behead.json: no"),
        (InputError("no"), "no"),
    ],
)
def test_a_file_is_named_once(error: LoopwrightError, said: str) -> None:
    with pytest.raises(type(error)) as caught, name_file(MARKS):
        raise error
    assert str(caught.value) == said
