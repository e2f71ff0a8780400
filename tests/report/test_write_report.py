"""The report: one page that needs nothing else, and the same figures as JSON."""

from __future__ import annotations

import json
import os
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from loopwright.errors import InputError
from loopwright.report import write_report as module
from loopwright.report.make_page import _sculpt_words, _tiles
from loopwright.report.measure_distance import measure_distance
from loopwright.report.summarize import summarize_build, summarize_plan
from loopwright.report.write_report import write_report
from loopwright.types import Finding
from loopwright.wishes import FixedPoint, FlowLine, Pin, PolePin, SizeDab, WishOutcome
from loopwright.write_json import json_text

if TYPE_CHECKING:
    from tests.report.conftest import Build, Plan

# Elements without an end tag: HTML Living Standard, section 13.1.2, and SVG shapes written with "/>".
VOID = {"meta", "img", "br", "link", "input"}


class Page(HTMLParser):
    """Collects what a page holds and whether its elements are nested soundly."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.faults: list[str] = []
        self.sources: list[str] = []
        self.ids: list[str] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.sources += [str(named[key]) for key in ("src", "href") if named.get(key)]
        self.ids += [str(named["id"])] if named.get("id") else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        return

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}")

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def written(build: Build, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_report(tmp_path_factory.mktemp("reports") / "new" / "report", build)


@pytest.fixture(scope="module")
def figures(written: Path) -> dict[str, object]:
    told: dict[str, object] = json.loads(written.with_name("report.json").read_text(encoding="utf-8"))
    return told


def test_the_page_is_sound_and_needs_no_other_file(written: Path) -> None:
    text = written.read_text(encoding="utf-8")
    page = Page(text)
    assert page.faults == [] and page.open == []
    assert all(source.startswith(("data:", "#")) for source in page.sources)
    assert not re.search(r"https?://|@import|url\(", text)
    targets = {source[1:] for source in page.sources if source.startswith("#")}
    assert targets <= set(page.ids) and len(page.ids) == len(set(page.ids))
    assert sorted(path.name for path in written.parent.iterdir()) == ["index.html", "report.json"]


def test_names_are_shown_as_they_are(written: Path) -> None:
    page = Page(written.read_text(encoding="utf-8"))
    for name in ("ball <&>.ply", "face <&>", "2 specks of <stray> colour"):
        assert name in page.text


def test_every_picture_is_there(written: Path, figures: dict[str, object]) -> None:
    kinds = {finding["kind"] for finding in figures["findings"]}  # type: ignore[attr-defined]
    if "pictures_missing" in kinds and not os.environ.get("CI"):
        pytest.skip("this machine draws nothing")
    ids = set(Page(written.read_text(encoding="utf-8")).ids)
    views = ("front", "three_quarter", "side", "top", "under", "back")
    wanted = {f"mesh-{view}" for view in views} | {f"layout-{view}" for view in ("front", "three_quarter", "side")}
    wanted |= {f"{kind}-front" for kind in ("painted", "regions", "heat_sculpt", "heat_mesh")} | {"opening-1"}
    assert wanted <= ids


def test_the_figures_agree_with_the_mesh(figures: dict[str, object], build: Build) -> None:
    assert figures["faces"] == len(build.mesh.quads)
    regions = {row["name"]: row["faces"] for row in figures["regions"]}  # type: ignore[attr-defined]
    counts = np.bincount(build.mesh.quad_region)
    assert regions == {region.name: int(counts[i]) for i, region in enumerate(build.mesh.regions)}
    assert figures["symmetry"]["faces_matched"] == 1  # type: ignore[index]
    assert set(figures["timings"]) == {"read", "layout", "report"}  # type: ignore[call-overload]
    assert figures["distances"]["mesh_to_sculpt_rms"] < 0.01  # type: ignore[index]
    assert figures["layout"]["segments"] == 42  # type: ignore[index]


@pytest.mark.parametrize(("matched", "is_told"), [(1.0, False), (0.2, True)])
def test_a_half_shown_mirrored_is_told_where_each_side_has_its_own_shape(
    build: Build, matched: float, is_told: bool
) -> None:
    summary = summarize_build(build)
    shares = {"faces_matched": matched, "vertices_matched": matched, "largest_gap": 0.0}
    assert ("shown mirrored here" in _sculpt_words(replace(summary, symmetry=shares))) == is_told


def test_wishes_are_told_with_whether_they_were_kept(
    build: Build, plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    way = ((0.0, 0.0, 1.0), (0.0, 0.5, 0.9))
    wishes = replace(
        build.options,
        lines=(FlowLine(way, name="<jaw>"), FlowLine(way), FlowLine(way, name="<jaw>")),
        points=(FixedPoint((0.0, 0.0, 1.0), "chin"),),
        poles=(PolePin("back", "none"),),
        pins=(Pin("back", "lips", 8, (1.0, 0.0, 0.0)), Pin("back", "lips", 6, (0.0, 1.0, 0.0))),
    )
    outcomes = (
        WishOutcome("line", "<jaw> (line 1)", True),
        WishOutcome("line", "line 2", False),
        WishOutcome("line", "<jaw> (line 3)", None),
        WishOutcome("point", "chin", True, 0.0125),
        WishOutcome("poles", "back", False),
        WishOutcome("pin", "back/lips near (1, 0, 0)", True),
        WishOutcome("pin", "back/lips near (0, 1, 0)", None),
    )
    page = Page(write_report(tmp_path, replace(build, options=wishes, outcomes=outcomes)).read_text(encoding="utf-8"))
    assert "<jaw> (line 1) (kept), line 2 (not kept), <jaw> (line 3) (not judged)" in page.text
    summary = summarize_build(replace(build, options=wishes, outcomes=outcomes))
    lines = " ".join("\n".join(summary.lines()).split())
    assert "wishes pin back/lips near (1, 0, 0)=8 (kept), pin back/lips near (0, 1, 0)=6 (not judged), line" in lines
    assert "point chin (kept, 0.0125 off), poles none in back (not kept)" in lines
    assert summary.flaws() == ["line line 2 (not kept)", "poles none in back (not kept)"]
    assert (
        summarize_build(replace(build, options=wishes, outcomes=outcomes[2:4])).flaws() == []
    )  # none is known to fail
    folded = (Finding("folded", "1 quad is folded", 1),)
    assert summarize_build(replace(build, findings=folded)).flaws() == ["1 quad is folded"]
    assert "chin (kept, 0.0125 off)" in page.text and "none in back (not kept)" in page.text
    figures = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))["wishes"]
    assert figures["lines"] == [
        {"name": "<jaw> (line 1)", "kept": True},
        {"name": "line 2", "kept": False},
        {"name": "<jaw> (line 3)", "kept": None},
    ]
    assert figures["points"] == [{"name": "chin", "at": [0.0, 0.0, 1.0], "kept": True, "off": 0.0125}]
    assert figures["poles"] == [{"region": "back", "wish": "none", "kept": False}]
    pin = {"between": ["back", "lips"]}
    assert figures["pins"] == [
        {"name": "back/lips near (1, 0, 0)", **pin, "count": 8, "near": [1.0, 0.0, 0.0], "kept": True},
        {"name": "back/lips near (0, 1, 0)", **pin, "count": 6, "near": [0.0, 1.0, 0.0], "kept": None},
    ]
    assert "back/lips near (1, 0, 0)=8 (kept), back/lips near (0, 1, 0)=6 (not judged)" in page.text
    early = Page(write_report(tmp_path, replace(plan, options=wishes)).read_text(encoding="utf-8"))
    assert "line 2 (known once the mesh is made)" in early.text


def test_painted_sizes_are_told(build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    dabs = (SizeDab((0.0, 0.0, 1.0), 0.5, 0.25), SizeDab((0.0, 1.0, 0.0), 0.5, 0.125))
    options = replace(build.options, size_dabs=dabs, vertex_sizes=np.array([0.0, 0.5, 0.0]))
    page = Page(write_report(tmp_path, replace(build, options=options)).read_text(encoding="utf-8"))
    assert "2 dabs, edge length 0.125 to 0.25" in page.text and "1 vertex, edge length 0.5" in page.text
    wishes = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"))["wishes"]
    assert wishes["size_dabs"] == {"count": 2, "shortest": 0.125, "longest": 0.25}
    assert wishes["vertex_sizes"] == {"count": 1, "shortest": 0.5, "longest": 0.5}
    bare = Page(write_report(tmp_path, build).read_text(encoding="utf-8"))
    assert "Dabs of size" not in bare.text and "Sizes at vertices" not in bare.text


def test_the_headline_shows_the_distance_both_ways(build: Build) -> None:
    summary = summarize_build(build, measured=measure_distance(build.sculpt, build.mesh))
    tiles = {title: (value, below) for title, value, below in _tiles(summary)}
    for way, title in (("mesh_to_sculpt", "Mesh to sculpt"), ("sculpt_to_mesh", "Sculpt to mesh")):
        value, below = tiles[title]
        assert value == f"{100 * summary.distances[f'{way}_rms']:.3f} %"
        assert f"95 % within {100 * summary.distances[f'{way}_p95']:.3f}\u00a0%" in below
        assert f"farthest {100 * summary.distances[f'{way}_max']:.3f}\u00a0%" in below


def test_the_builds_own_distances_stand_beside_the_measured_ones(build: Build) -> None:
    told = replace(build, distances={"before_fit_rms": 0.25})
    assert summarize_build(told).distances == {"before_fit_rms": 0.25}
    measured = measure_distance(build.sculpt, build.mesh)
    assert list(summarize_build(told, measured=measured).distances)[-1] == "before_fit_rms"
    assert len(summarize_build(told, measured=measured).distances) == 7


def test_lines_for_the_console(build: Build, plan: Plan) -> None:
    told = "\n".join(summarize_build(build).lines())
    assert f"{len(build.mesh.quads):,} quads" in told and "2 specks of <stray> colour" in told
    # one half is planned; the whole mesh has twice its poles and faces: a grid of 6 x 6 and a triangle of 3 x 4
    told = "\n".join(summarize_plan(plan).lines())
    assert "2 of valence 3, 2 of valence 5 planned" in told and "of one half, which the other mirrors" in told
    assert "about 96 quads expected" in told and "face <&> 72, back 24" in told
    assert "back/face <&>=48" in told and "24 segments, 24 segments" in told


def test_a_plan_as_json_has_no_zeros_for_what_it_does_not_know(plan: Plan) -> None:
    told = json.loads(json_text(summarize_plan(plan).as_json()))
    assert told["is_plan"] and told["vertices"] is None and told["faces"] == 96
    assert all(row["faces"] > 0 and row["edge_length"] > 0 for row in told["regions"])
    assert told["borders"] == [{"between": ["back", "face <&>"], "segments": 48, "times": 1, "near": None}]
    assert told["openings"] == [24, 24]


def test_a_plan_has_no_mesh_and_its_report_says_nothing_of_one(plan: Plan, tmp_path: Path) -> None:
    page = Page(write_report(tmp_path, plan).read_text(encoding="utf-8"))
    assert page.faults == []
    assert not any(name.startswith(("mesh-", "heat_", "opening-")) for name in page.ids)
    assert "Plan of an all-quad mesh" in page.text


def test_a_report_without_pictures_still_tells_everything(
    build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    finding = Finding("pictures_missing", "24 of 24 pictures could not be drawn", 24)
    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), (finding,)))
    page = Page(write_report(tmp_path, build).read_text(encoding="utf-8"))
    assert page.faults == []
    assert "pictures could not be drawn" in page.text and "Faces by region" in page.text


def test_a_folder_that_cannot_be_is_refused(build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    (tmp_path / "taken").write_text("", encoding="ascii")
    with pytest.raises(InputError, match="cannot be written here"):
        write_report(tmp_path / "taken" / "report", build)


def test_an_earlier_report_is_replaced_whole(build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    (tmp_path / "index.html").write_text("old", encoding="ascii")
    page = write_report(tmp_path, build)
    assert "old" != page.read_text(encoding="utf-8")
    assert not list(tmp_path.glob("*.tmp"))


def test_a_report_on_a_full_disk_keeps_the_earlier_one(
    build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    for name in ("index.html", "report.json", "index.html.tmp"):
        (tmp_path / name).write_text("old", encoding="ascii")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_report(tmp_path, build)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == dict.fromkeys(
        ("index.html", "report.json", "index.html.tmp"), b"old"
    )


def test_an_edge_without_length_gives_null_and_not_infinity(
    build: Build, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(word: str) -> None:
        raise ValueError(f"{word} is no JSON (RFC 8259, section 6)")

    monkeypatch.setattr(module, "run_drawing", lambda *_, **__: ((), ()))
    positions = build.mesh.positions.copy()
    positions[build.mesh.quads[0, 1]] = positions[build.mesh.quads[0, 0]]
    write_report(tmp_path, replace(build, mesh=replace(build.mesh, positions=positions)))
    told = json.loads((tmp_path / "report.json").read_text(encoding="utf-8"), parse_constant=refuse)
    assert told["quality"]["aspect_mean"] is None
    assert told["quality"]["min"] is not None
