"""The look of every figure: a palette that colour-blind readers can tell apart, type, and SVG.

Lines differ in dash and marker as well as in colour, so that nothing rests on colour alone.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, Literal, cast
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

INK, MUTED, RULE, PAPER = "#22323b", "#56666e", "#d3dad8", "#fcfbf7"

STAGES = {
    "footprint": "#3c86a3",
    "wilt": "#b4690e",
    "dormant": "#7d4a6b",
    "dead": "#14181c",
}
STAGE_WORDS = {
    "footprint": "footprinting",
    "wilt": "wilt",
    "dormant": "dormancy",
    "dead": "death",
}
COVERS = {
    "green": "#4b9a78",
    "winter_rest": "#b9c7a4",
    "dormant": "#dfbd72",
    "worn": "#b0a8a4",
    "dead": "#43343a",
}
COVER_WORDS = {
    "green": "green",
    "winter_rest": "winter rest",
    "dormant": "dormant",
    "worn": "worn bare",
    "dead": "dead",
}
PLAY = {"fit": "#5aa38a", "hard": "#c0671b", "wet": "#2f6f9f", "frozen": "#9fb4c8"}
LINES = (
    "#1e5d8f", "#c1550f", "#2c8773", "#8a3f86", "#8c7a16", "#a32c45", "#505c66", "#3f4fa8",
)  # fmt: skip
DASHES: tuple[Any, ...] = ("-", (0, (5, 1.6)), (0, (1.5, 1.5)), (0, (6, 1.5, 1.5, 1.5)))
MARKERS = "osD^vPX*"

# What stands for a colour where the reader prefers a dark page.
DARK = {
    INK: "#e8ecea", MUTED: "#a9b6ba", RULE: "#39464c", PAPER: "#182126",
    "#3c86a3": "#74bcd8", "#b4690e": "#eda64a", "#7d4a6b": "#cf93bb", "#14181c": "#ffffff",
    "#4b9a78": "#58ab87", "#b9c7a4": "#8c9c78", "#dfbd72": "#d9b566", "#b0a8a4": "#8b8480",
    "#43343a": "#0a0708", "#5aa38a": "#4f9a80", "#c0671b": "#e58c42", "#2f6f9f": "#62a6d8",
    "#9fb4c8": "#8196ab",
    "#1e5d8f": "#6fb1e6", "#c1550f": "#f08b4c", "#2c8773": "#5cc4ac", "#8a3f86": "#d592d0",
    "#8c7a16": "#d0bd4e", "#a32c45": "#ee7f95", "#505c66": "#b3bec6", "#3f4fa8": "#99a6f2",
}  # fmt: skip

Flush = Literal["left", "right"]

PANEL_IN = (4.7, 3.1)
SVG_SALT = "drysward"

_RC: dict[str, Any] = {
    # The library's own type, which is always there; a list is gone through for every text.
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.facecolor": PAPER,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.grid.axis": "y",
    "axes.axisbelow": True,
    "axes.linewidth": 0.7,
    "grid.color": RULE,
    "grid.linewidth": 0.7,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "text.color": INK,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "legend.handlelength": 2.4,
    "lines.linewidth": 1.6,
    # A dollar sign in a name is a dollar sign.
    "text.parse_math": False,
    "svg.hashsalt": SVG_SALT,
    # Text stays text: smaller, selectable, in the page's own type.
    "svg.fonttype": "none",
}


@contextmanager
def look() -> Iterator[None]:
    """The settings of the plotting library under which figures are drawn and saved."""
    with mpl.rc_context(cast(Any, _RC)):
        yield


def new_figure(width_in: float = PANEL_IN[0], height_in: float = PANEL_IN[1]) -> Figure:
    """An empty figure that lays itself out; draw and save it inside ``look``."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


@cache
def _measure(width: float, height: float, dpi: float) -> RendererAgg:
    # Kept, because it remembers how wide each text is, and panels share most of theirs.
    return RendererAgg(width, height, dpi)


def fit(figure: Figure, axes: Axes) -> None:
    """Lay out a single panel in one pass, a third of the time of the library's own layout."""
    figure.set_layout_engine("none")
    width, height = figure.bbox.size
    renderer = _measure(width, height, figure.dpi)
    key = axes.get_legend()
    above = 0.0
    if key is not None:
        # Above the axes and flush with the figure, so that long names take nothing from the axes.
        above = key.get_window_extent(renderer).height
        key.set_in_layout(False)
    boxes = [box for one in figure.axes if (box := one.get_tightbbox(renderer)) is not None]
    left, bottom = min(box.x0 for box in boxes), min(box.y0 for box in boxes)
    right, top = max(box.x1 for box in boxes), max(box.y1 for box in boxes) + above
    pad = 4.0
    here = axes.get_window_extent(renderer)
    at = (
        (here.x0 - left + pad) / width,
        (here.y0 - bottom + pad) / height,
        1.0 - (right - here.x1 + here.x0 - left + 2 * pad) / width,
        1.0 - (top - here.y1 + here.y0 - bottom + 2 * pad) / height,
    )
    for one in figure.axes:
        one.set_position(at)
    if key is not None:
        key.set_loc("lower left")
        key.set_bbox_to_anchor((0.0, at[1] + at[3]), figure.transFigure)


def line_style(place: int) -> dict[str, Any]:
    """Colour and dash of the line at ``place``: no two alike among the first 32."""
    return {
        "color": LINES[place % len(LINES)],
        "linestyle": DASHES[(place + place // len(LINES)) % len(DASHES)],
    }


def marker(place: int) -> str:
    return MARKERS[place % len(MARKERS)]


def legend(
    axes: Axes, handles: list[Any], labels: list[str], columns: int = 2, flush: Flush = "left"
) -> None:
    """A legend above the axes, flush with their left or right.

    A name that begins with an underscore is a name like any other.
    """
    shown = [f"\u200a{text}" if text.startswith("_") else text for text in labels]
    shown = [text if len(text) <= 34 else f"{text[:33]}…" for text in shown]
    axes.legend(
        handles,
        shown,
        ncols=columns,
        loc="lower left" if flush == "left" else "lower right",
        bbox_to_anchor=(0.0 if flush == "left" else 1.0, 1.0),
        borderaxespad=0.2,
        columnspacing=1.2,
        labelspacing=0.3,
    )


def head(axes: Axes, title: str) -> None:
    """A title above the legend, where there is one."""
    key = axes.get_legend()
    if key is None:
        axes.set_title(title)
        return
    key.set_title(title, prop=FontProperties(size=10.0, weight="bold"))
    key.set_alignment("left")


def svg_text(figure: Figure) -> str:
    """A figure as SVG, the same bytes for the same figure: no date, no random names."""
    target = io.StringIO()
    FigureCanvasSVG(figure).print_svg(
        target, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
    )
    return target.getvalue()


_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_HEX = re.compile(r"#[0-9a-f]{6}")
_LETTERS = re.compile(r"[A-Za-z]")
_DECIMALS = re.compile(r"-?\d+\.\d+")
_FAMILY = re.compile(r"font-family:[^;]*;?\s*")
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


def inline_svg(text: str, key: str, alt: str) -> str:
    """An SVG for the middle of a page: own names, the page's colours, told in words.

    Parameters
    ----------
    text : as ``svg_text`` gives it.
    key : begins every name inside, so that many figures live on one page.
    alt : what a reader hears who does not see it.
    """
    root = _tidied(text, f"{key}-")
    for element in root.iter():
        if "style" in element.attrib:
            style = _HEX.sub(lambda hit: _variable(hit[0]), element.attrib["style"])
            element.set("style", style)
    del root.attrib["width"], root.attrib["height"]
    _tell(root, f"{key}-alt", alt)
    return ElementTree.tostring(root, encoding="unicode")


def svg_file(text: str, alt: str) -> str:
    """An SVG that stands alone: small, with a title for those who do not see it."""
    root = _tidied(text, "")
    root.set("font-family", "system-ui, Helvetica, Arial, sans-serif")
    _tell(root, "alt", alt)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _tell(root: ElementTree.Element, name: str, alt: str) -> None:
    root.set("role", "img")
    root.set("aria-labelledby", name)
    title = ElementTree.Element(f"{{{_SVG}}}title", {"id": name})
    title.text = alt
    root.insert(0, title)


def _tidied(text: str, prefix: str) -> ElementTree.Element:
    """An SVG without what no reader needs; names that are used begin with ``prefix``."""
    ElementTree.register_namespace("", _SVG)
    ElementTree.register_namespace("xlink", _XLINK)
    root = ElementTree.fromstring(text)
    for child in list(root):
        if child.tag == f"{{{_SVG}}}metadata":
            root.remove(child)
    used: set[str] = set()
    for element in root.iter():
        if element.tag != f"{{{_SVG}}}text" and not (element.text or "").strip():
            element.text = None
        element.tail = None
        for name, value in list(element.attrib.items()):
            if name == "id":
                element.set(name, f"{prefix}{value}")
            elif name in ("href", f"{{{_XLINK}}}href") and value.startswith("#"):
                used.add(f"{prefix}{value[1:]}")
                element.set(name, f"#{prefix}{value[1:]}")
            elif name == "d":
                element.set(name, _short_path(value))
            elif name in ("style", "clip-path"):
                used.update(f"{prefix}{hit}" for hit in _REFERENCE.findall(value))
                kept = _FAMILY.sub("", value)
                element.set(name, _REFERENCE.sub(rf"url(#{prefix}\1)", kept))
    for element in root.iter():
        if element.get("id") not in used:
            element.attrib.pop("id", None)
    return root


def _short_path(path: str) -> str:
    """The path by steps of a tenth of a point, which no eye can tell from the whole."""
    parts = path.split()
    if set(_LETTERS.findall(path)) - {"M", "L", "z"}:
        return _DECIMALS.sub(lambda hit: f"{float(hit[0]):.1f}", " ".join(parts))
    out: list[str] = []
    at = (0, 0)
    place = 0
    while place < len(parts):
        letter = parts[place]
        if letter == "z":
            out.append("z")
            place += 1
            continue
        # Whole tenths, so that the steps add up to where the line ends.
        here = (round(10 * float(parts[place + 1])), round(10 * float(parts[place + 2])))
        if letter == "M":
            out.append(f"M{_tenths(here[0])} {_tenths(here[1])}l")
        else:
            out.append(f"{_tenths(here[0] - at[0])} {_tenths(here[1] - at[1])}")
        at = here
        place += 3
    return " ".join(out).replace(" M", "M").replace("l z", "z").removesuffix("l")


@cache
def _tenths(value: int) -> str:
    """``-.3`` of -3."""
    text = f"{value / 10:g}"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def variable_name(colour: str) -> str:
    return f"--c{colour[1:]}"


def _variable(colour: str) -> str:
    return f"var({variable_name(colour)})" if colour in DARK else colour


def save(figure: Figure, path: Path, kind: str, alt: str) -> None:
    """A figure as svg, png or pdf, without date, so that the same figure is the same file."""
    with look():
        if kind == "svg":
            path.write_text(svg_file(svg_text(figure), alt), encoding="utf-8")
            return
        metadata = {"CreationDate": None} if kind == "pdf" else {"Software": None}
        figure.savefig(path, format=kind, dpi=200, metadata=metadata)
