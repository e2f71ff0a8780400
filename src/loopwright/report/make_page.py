"""Put the report's page together: plain HTML with its style and pictures inside, no outside resource."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import files

from loopwright import __version__
from loopwright.report.picture import DrawnPicture
from loopwright.report.show_findings import marked_numbers, show_finding_legend
from loopwright.report.show_pictures import (
    show_arc_legend,
    show_heat_scale,
    show_pictures,
    show_pole_legend,
    show_region_legend,
)
from loopwright.report.show_tables import show_tables
from loopwright.report.summarize import Summary
from loopwright.surface.repair_work import plural

_OWN_SIDES = 0.5  # share of faces with an image below which the sides are their own
_SCRIPT = """for (const plate of document.querySelectorAll(".plate"))
  plate.addEventListener("click", () => plate.parentElement.classList.toggle("wide"));"""


def make_page(summary: Summary, drawn: Sequence[DrawnPicture], *, heat_limit: float) -> str:
    """Return the page as HTML.

    Parameters
    ----------
    summary
        The figures.
    drawn
        The pictures; sections without any are left out.
    heat_limit
        The end of the heat maps' scale, in diagonals of the sculpt.
    """
    sections = [
        _section("sculpt", "The sculpt and its regions", _sculpt_words(summary), _sculpt_body(summary, drawn)),
        _section("layout", "The layout", _layout_words(summary), _layout_body(summary, drawn)),
        _section("mesh", _mesh_title(summary), _mesh_words(summary), _mesh_body(summary, drawn)),
        _section("before", "Before the edits", "", show_pictures(drawn, ["before-"], grid="large")),
        _section("openings", "The openings", "", show_pictures(drawn, ["opening-"])),
        _section("distance", "How close it lies", _HEAT_WORDS, _heat_body(summary, drawn, heat_limit)),
        _section("figures", "Figures", "", show_tables(summary)),
    ]
    present = [section for section in sections if section]
    what = "the plan" if summary.is_plan else "the mesh" if summary.faces_before is None else "the edited mesh"
    title = f"{summary.sculpt}: {what}"
    style = files("loopwright.report").joinpath("page.css").read_text(encoding="utf-8")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n{_top(summary, present)}<main>\n"
        f"{_head(summary)}{_notes(summary, drawn)}{''.join(body for _, _, body in present)}"
        f"<footer>Loopwright {__version__}. The figures of this page also lie beside it, in report.json.</footer>\n"
        f"</main>\n<script>\n{_SCRIPT}\n</script>\n</body>\n</html>\n"
    )


_MESH_WORDS = (
    "The faces in the colours of their regions, laid over the sculpt in grey. Where grey shows between the faces, the "
    "area was left open, or the sculpt rises above the faces. The marks are the poles."
)
_BARE_WORDS = "The faces in the colours of their regions. The marks are the poles."
_MEASURED = {"": "", "limit": "; of the mesh's smooth limit surface", "faces": "; of the mesh's faces as they are"}
_HEAT_WORDS = (
    "First from every point of the sculpt to the surface that the mesh describes, then from that surface to the "
    "sculpt. Areas of the sculpt beyond an opening are grey: no faces were wanted there."
)


def _section(name: str, title: str, words: str, body: str) -> tuple[str, str, str] | None:
    if not body:
        return None
    lead = f'<p class="soft">{words}</p>' if words else ""
    return name, title, f'<section id="part-{name}">\n<h2>{title}</h2>\n{lead}\n{body}\n</section>\n'


def _top(summary: Summary, sections: Sequence[tuple[str, str, str]]) -> str:
    links = "".join(f'<a href="#part-{name}">{title}</a>' for name, title, _ in sections)
    return f'<nav class="top"><div><b>{escape(summary.sculpt)}</b>{links}</div></nav>\n'


def _head(summary: Summary) -> str:
    tiles = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}<small>{escape(more)}</small></dd></div>"
        for name, value, more in _tiles(summary)
    )
    return (
        f'<header class="head"><h1>{escape(summary.sculpt)}</h1><p class="lead">{_lead(summary)}.</p>'
        f'<dl class="strip">{tiles}</dl></header>\n'
    )


def _lead(summary: Summary) -> str:
    regions, sculpt = plural(len(summary.regions), "region"), f"a sculpt of {plural(summary.triangles, 'triangle')}"
    if summary.faces_before is not None:
        place = f", put on {sculpt}" if summary.triangles else ""
        return f"All-quad mesh in {regions}, edited from one of {plural(summary.faces_before, 'quad')}{place}"
    return f"{'Plan of an all-quad mesh' if summary.is_plan else 'All-quad mesh'} from {sculpt} in {regions}"


def _tiles(summary: Summary) -> list[tuple[str, str, str]]:
    """Return name, value and a line below of each headline figure."""
    tiles = []
    wished = summary.wishes.get("budget")
    if not summary.is_plan:
        was = summary.faces_before
        more = f"{was:,} before, " if was is not None else f"{wished:,} wished, " if wished else ""
        tiles.append(("Faces", f"{summary.faces:,}", f"{more}all quads"))
        tiles.append(("Poles", f"{sum(summary.poles.values())}", _valences(summary.poles)))
    else:
        tiles.append(("Expected faces", f"{summary.faces:,}", f"{wished:,} wished" if wished else "all quads"))
        tiles.append(
            ("Patches", f"{summary.layout.get('patches', 0)}", plural(int(str(summary.layout.get("arcs", 0))), "arc"))
        )
        planned = summary.planned_poles
        tiles.append(("Planned poles", f"{sum(planned.values())}", _valences(planned)))
    if summary.quality:
        was_shape = f"; {summary.quality_before['mean']:.3f} before" if summary.quality_before else ""
        words = f"mean scaled Jacobian{was_shape}; a square has 1"
        tiles.append(("Shape of the quads", f"{summary.quality['mean']:.3f}", words))
    for way, title in (("mesh_to_sculpt", "Mesh to sculpt"), ("sculpt_to_mesh", "Sculpt to mesh")):
        if f"{way}_rms" in summary.distances:
            rms, p95, most = (100 * summary.distances[f"{way}_{figure}"] for figure in ("rms", "p95", "max"))
            below = f"of the diagonal, root mean square; 95 % within {p95:.3f}\u00a0%, farthest {most:.3f}\u00a0%"
            tiles.append((title, f"{rms:.3f} %", below + _MEASURED[summary.measured_surface]))
    if summary.symmetry:
        share = summary.symmetry["faces_matched"]
        if share < _OWN_SIDES:
            tiles.append(("Mirrored", "topology", "each side has its own shape"))
        else:
            tiles.append(("Mirrored", "exactly" if share == 1 else f"{min(share, 0.9999):.2%}", "of all faces"))
    tiles.append(("Time", f"{sum(summary.timings.values()):.0f} s", "with this report"))
    return tiles


def _valences(poles: dict[int, int]) -> str:
    return ", ".join(f"{count} of {valence}" for valence, count in poles.items()) or "none"


def _notes(summary: Summary, drawn: Sequence[DrawnPicture]) -> str:
    if not summary.findings:
        return ""
    shown = marked_numbers(drawn)
    items = "".join(
        f'<li class="{"seen" if str(number) in shown else ""}"><b>{number}</b>'
        f"<span>{escape(str(finding['text']))}</span></li>"
        for number, finding in enumerate(summary.findings, 1)
    )
    return f'<div class="notes"><h3>Found and done on the way</h3><ol>{items}</ol></div>\n'


def _sculpt_words(summary: Summary) -> str:
    words = "As it was painted, and as it was understood: soft edges and stray specks become clean borders."
    if summary.symmetry and summary.symmetry["faces_matched"] < 1.0:
        words += " Of both halves one is planned, and shown mirrored here; each side of the mesh has its own shape."
    return words


def _sculpt_body(summary: Summary, drawn: Sequence[DrawnPicture]) -> str:
    pictures = show_pictures(drawn, ["painted-", "regions-"], grid="four")
    return show_region_legend((row.name, row.color) for row in summary.regions) + pictures if pictures else ""


def _layout_words(summary: Summary) -> str:
    half = " One half is planned; the other mirrors it." if summary.layout.get("is_half") else ""
    return f"Where edges will run, how many segments each arc gets, and where poles are planned.{half}"


def _layout_body(summary: Summary, drawn: Sequence[DrawnPicture]) -> str:
    pictures = show_pictures(drawn, ["layout-"], grid="large")
    if not pictures:
        return ""
    kinds = summary.layout.get("arcs_by_kind")
    return (
        show_arc_legend(kinds if isinstance(kinds, dict) else ())
        + show_pole_legend(summary.planned_poles)
        + show_finding_legend(drawn, ("layout-",))
        + pictures
    )


def _mesh_title(summary: Summary) -> str:
    return "The mesh over the sculpt" if summary.triangles else "The mesh"


def _mesh_words(summary: Summary) -> str:
    return _MESH_WORDS if summary.triangles else _BARE_WORDS


def _mesh_body(summary: Summary, drawn: Sequence[DrawnPicture]) -> str:
    pictures = show_pictures(drawn, ["mesh-"], grid="large")
    legends = show_pole_legend(summary.poles) + show_finding_legend(drawn, ("mesh-",))
    return legends + pictures if pictures else ""


def _heat_body(summary: Summary, drawn: Sequence[DrawnPicture], limit: float) -> str:
    pictures = show_pictures(drawn, ["heat_"], grid="four")
    return show_heat_scale(limit, summary.diagonal) + pictures if pictures else ""
