"""Wishes as text become options, or one clear error."""

from __future__ import annotations

import argparse
import json
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.cli.main import main
from loopwright.cli.read_wishes import add_wish_arguments, read_wishes
from loopwright.errors import MarksError
from loopwright.options import (
    RGB,
    BuildOptions,
    Pin,
    format_color,
    normalize_region,
    parse_color,
    parse_pin,
    parse_region_name,
    parse_size,
)

CHANNEL = st.integers(0, 255)
COLOR = st.tuples(CHANNEL, CHANNEL, CHANNEL)


@given(COLOR)
def test_every_colour_survives_both_spellings(color: RGB) -> None:
    assert parse_color(format_color(color)) == color
    assert parse_color(format_color(color).upper()) == color
    assert parse_color(", ".join(str(channel) for channel in color)) == color


def test_a_short_code_doubles_each_digit() -> None:
    # Source: CSS Color Module Level 4, section 5.2: #rgb is #rrggbb with each digit doubled.
    assert parse_color("#1af") == parse_color("#11aaff") == (0x11, 0xAA, 0xFF)


@pytest.mark.parametrize(
    "text", ["", "#", "#12", "#1234", "#12345g", "256,0,0", "1,2", "1,2,3,4", "-1,2,3", "red", "##141414"]
)
def test_what_is_no_colour_says_how_to_write_one(text: str) -> None:
    with pytest.raises(MarksError, match="is not a colour; write it as"):
        parse_color(text)


def test_sizes_and_pins_and_names() -> None:
    assert parse_size("lips=0.02") == ("lips", 0.02)
    assert parse_size(" a=b = 1e-3") == ("a=b", 1e-3)
    assert parse_pin("lips/cheeks=24") == Pin("lips", "cheeks", 24)
    assert parse_pin(" lips / #ABC = 3 ") == Pin("lips", "#aabbcc", 3)
    assert parse_region_name("20,20,20= mouth ") == ((20, 20, 20), "mouth")
    assert normalize_region(" #FFF ") == "#ffffff"


@pytest.mark.parametrize("text", ["lips", "lips=", "=1", "lips=0", "lips=-1", "lips=nan", "lips=inf", "lips=wide", ""])
def test_what_is_no_size_says_how_to_write_one(text: str) -> None:
    with pytest.raises(MarksError, match="REGION=LENGTH"):
        parse_size(text)


@pytest.mark.parametrize("text", ["lips", "lips=4", "lips/=4", "/lips=4", "a/b=", "a/b=x", "a/b=1.5", "a/b=-2", ""])
def test_what_is_no_pin_says_how_to_write_one(text: str) -> None:
    with pytest.raises(MarksError, match="A/B=N"):
        parse_pin(text)


@pytest.mark.parametrize(
    ("text", "words"), [("a/b=0", "at least 1"), ("a/a=4", "one region twice"), ("#FFF/#ffffff=4", "one region twice")]
)
def test_pins_that_cannot_hold(text: str, words: str) -> None:
    with pytest.raises(MarksError, match=words):
        parse_pin(text)


@pytest.mark.parametrize("text", ["5e3", "5,000", "5.0", "-5", "many", "", "1" * 5000])
@pytest.mark.parametrize("command", [["build", "x.ply", "-o", "y.obj"], ["demo"]], ids=lambda command: command[0])
def test_what_is_no_budget_is_one_line(text: str, command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*command, f"--budget={text}"]) == 4
    shown = capsys.readouterr().err
    assert "is not a number of faces; write it in plain digits" in shown and shown.count("\n") == 1
    assert "from 100 to 200,000" in shown


def test_a_budget_far_too_large_is_told_the_range(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", "x.ply", "-o", "y.obj", "--budget=1000000000"]) == 4
    assert "must lie between 100 and 200,000 faces" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["#111=a/b", "#111=a=b"])
def test_names_that_other_options_could_not_tell_are_refused(text: str) -> None:
    with pytest.raises(MarksError, match="cannot be a name"):
        parse_region_name(text)


CONTRADICTIONS = [
    (
        ["--pin", "lips/mouth=40", "--pin", "mouth/lips=44"],
        r"border lips/mouth is pinned to 40 and, as mouth/lips, to 44",
    ),
    (["--size", "lips=1", "--size", "lips=2"], r"the size of lips is given as 1\.0 and as 2\.0"),
    (
        ["--pin", "lips/mouth=40", "--pin", "#1a1a1a/lips=44", "--name", "#1a1a1a=mouth"],
        r"border lips/mouth is pinned to 40 and, as #1a1a1a/lips, to 44; keep one",
    ),
    (["--pin", "mouth/#1a1a1a=40", "--name", "#1a1a1a=mouth"], "names one region twice"),
    (
        ["--size", "lips=1", "--size", "#1a1a1a=2", "--name", "#1a1a1a=lips"],
        r"the size of lips is given as 1\.0 and, as #1a1a1a, as 2\.0; keep one",
    ),
    (["--name", "#141414=eye", "--name", "20,20,20=mouth"], "the name of #141414 is given as eye and as mouth"),
]


@pytest.mark.parametrize(("words", "told"), CONTRADICTIONS)
def test_wishes_that_contradict_one_another_are_refused(words: list[str], told: str) -> None:
    parser = argparse.ArgumentParser()
    add_wish_arguments(parser)
    with pytest.raises(MarksError, match=told):
        read_wishes(parser.parse_args(words))
    assert read_wishes(parser.parse_args(words[:2] * 2)) == read_wishes(parser.parse_args(words[:2]))


LIPS = {"lips": "#c03060", "cheeks": "#f0dc5a"}
BY_NAME: dict[str, object] = {"between": ["lips", "cheeks"], "count": 48}


@pytest.mark.parametrize("by_hand", ["lips", "#C03060", "_c03060"])
@pytest.mark.parametrize("in_marks", ["lips", "#c03060", "C03060"])
def test_an_option_wins_over_a_mark_however_the_region_is_meant(tmp_path: Path, by_hand: str, in_marks: str) -> None:
    marks = tmp_path / "head.json"
    pins = [{"between": [in_marks, "cheeks"], "count": 48}, {**BY_NAME, "count": 6, "near": [0, 0, 1]}]
    sizes = {in_marks: 0.5, "chin": 2}
    marks.write_text(json.dumps({"loopwright_marks": 1, "regions": LIPS, "pins": pins, "sizes": sizes}))
    parser = argparse.ArgumentParser()
    add_wish_arguments(parser)
    words = ["--marks", str(marks), "--pin", f"#f0dc5a/{by_hand}=24", "--size", f"{by_hand}=0.3"]
    got, lips = read_wishes(parser.parse_args(words)), normalize_region(by_hand)
    assert got.pins == (Pin("#f0dc5a", lips, 24), Pin("lips", "cheeks", 6, (0, 0, 1)))
    assert got.sizes == {lips: 0.3, "chin": 2}


def test_marks_that_a_name_given_by_hand_makes_one_are_told_with_their_places(tmp_path: Path) -> None:
    marks = tmp_path / "head.json"
    pins = [BY_NAME, {"between": ["cheeks", "#c03060"], "count": 8}]
    parser = argparse.ArgumentParser()
    add_wish_arguments(parser)
    for more, places in (({"pins": pins}, "pins/0, pins/1"), ({"sizes": {"lips": 1, "#c03060": 2}}, "sizes/lips, ")):
        marks.write_text(json.dumps({"loopwright_marks": 1, "regions": {"cheeks": "#f0dc5a"}, **more}))
        with pytest.raises(MarksError, match="keep one of the two") as caught:
            read_wishes(parser.parse_args(["--marks", str(marks), "--name", "#c03060=lips"]))
        assert str(caught.value).startswith(f"{marks}: {places}")


def test_two_pins_on_one_border_clash_unless_they_are_for_two_places() -> None:
    with pytest.raises(MarksError, match="keep one of the two"):
        BuildOptions(pins=(Pin("a", "b", 4), Pin("b", "a", 6)))
    BuildOptions(pins=(Pin("a", "b", 4), Pin("b", "a", 4), Pin("a", "b", 6, (0.0, 0.0, 1.0))))


@pytest.mark.parametrize(
    "wishes",
    [
        {"budget": 0},
        {"budget": 10**9},
        {"mirror": "w"},
        {"proxy_faces": 3},
        {"sizes": {"lips": float("nan")}},
        {"pins": (Pin("a", "b", 0),)},
    ],
    ids=lambda wishes: next(iter(wishes)),
)
def test_options_out_of_range_are_refused(wishes: dict[str, object]) -> None:
    with pytest.raises(MarksError):
        BuildOptions(**wishes)  # type: ignore[arg-type]


def test_there_is_no_seed_that_would_change_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    parser = argparse.ArgumentParser(allow_abbrev=False)
    add_wish_arguments(parser)
    with pytest.raises(SystemExit):
        parser.parse_args(["--seed", "1"])
    assert "--seed" in capsys.readouterr().err
    assert "seed" not in {field.name for field in fields(BuildOptions)}


def test_arguments_become_options() -> None:
    parser = argparse.ArgumentParser()
    add_wish_arguments(parser)
    assert read_wishes(parser.parse_args([])) == BuildOptions()
    words = ["--budget", "2500", "--leave-open", "#141414", "--leave-open", "20,20,20", "--leave-open", "#fff"]
    words += ["--size", "lips=0.2", "--pin", "lips/nose=8", "--mirror", "x", "--no-fit", "--name", "#fff=eye"]
    assert read_wishes(parser.parse_args(words)) == BuildOptions(
        budget=2500,
        leave_open=((20, 20, 20), (255, 255, 255)),
        sizes={"lips": 0.2},
        pins=(Pin("lips", "nose", 8),),
        mirror="x",
        fit_limit=False,
        region_names={(255, 255, 255): "eye"},
    )


def test_the_command_line_wins_over_the_mirror_shape_of_a_marks_file(tmp_path: Path) -> None:
    def shape(told: bool | None, *options: str) -> bool | None:
        marks = tmp_path / "marks.json"
        marks.write_text(json.dumps({"loopwright_marks": 1} | ({} if told is None else {"mirror_shape": told})))
        parser = argparse.ArgumentParser()
        add_wish_arguments(parser)
        return read_wishes(parser.parse_args(["--marks", str(marks), *options])).mirror_shape

    assert [shape(told) for told in (None, True, False)] == [None, True, False]
    assert [shape(told, "--mirror-shape") for told in (None, True, False)] == [True] * 3
    assert [shape(told, "--own-sides") for told in (None, True, False)] == [False] * 3
