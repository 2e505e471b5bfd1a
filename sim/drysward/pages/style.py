"""The look of every figure: a palette for color-blind readers, type, and SVG.

Lines differ in dash and marker as well as in color, so that nothing rests on color alone.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, cast
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.colors import to_hex, to_rgba
from matplotlib.figure import Figure
from matplotlib.hatch import get_path as hatch_path
from matplotlib.lines import Line2D
from matplotlib.markers import MarkerStyle
from matplotlib.patches import Patch
from matplotlib.path import Path as Path2D
from matplotlib.ticker import (
    FixedLocator,
    MaxNLocator,
    NullFormatter,
    NullLocator,
    StrMethodFormatter,
)

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
PLAY_HATCHES = {"fit": "", "hard": "///", "wet": "...", "frozen": "xx"}
LINES = (
    "#1e5d8f", "#c1550f", "#2c8773", "#8a3f86", "#8c7a16", "#a32c45", "#505c66", "#3f4fa8",
)  # fmt: skip
DASHES: tuple[Any, ...] = ("-", (0, (5, 1.6)), (0, (1.5, 1.5)), (0, (6, 1.5, 1.5, 1.5)))
MARKERS = "osD^vPX*"

# What stands for a color where the reader prefers a dark page.
DARK = {
    INK: "#e8ecea", MUTED: "#a9b6ba", RULE: "#39464c", PAPER: "#182126",
    "#3c86a3": "#74bcd8", "#b4690e": "#eda64a", "#7d4a6b": "#cf93bb", "#14181c": "#ffffff",
    "#4b9a78": "#58ab87", "#b9c7a4": "#8c9c78", "#dfbd72": "#d9b566", "#b0a8a4": "#8b8480",
    "#43343a": "#0a0708", "#5aa38a": "#4f9a80", "#c0671b": "#e58c42", "#2f6f9f": "#62a6d8",
    "#9fb4c8": "#8196ab",
    "#1e5d8f": "#6fb1e6", "#c1550f": "#f08b4c", "#2c8773": "#5cc4ac", "#8a3f86": "#d592d0",
    "#8c7a16": "#d0bd4e", "#a32c45": "#ee7f95", "#505c66": "#b3bec6", "#3f4fa8": "#99a6f2",
}  # fmt: skip

PANEL_IN = (4.7, 3.1)
"""Width and height of one panel in a file or a notebook."""
SVG_SALT = "drysward"

Handle = Line2D | Patch
"""What stands for a series in a legend."""
Key = Sequence[tuple[str, Handle]]
"""The series of a panel, by the words of the legend."""

_RC: dict[str, Any] = {
    # The library's own type, which is always there; a list is gone through for every text.
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlelocation": "left",
    "axes.titlepad": 5.0,
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
    "xtick.major.size": 0.0,
    "ytick.major.size": 0.0,
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


# Margins of a panel on a page, in points, and the width of a letter of its labels.
_MARGIN, _TOP, _TICKS, _LABEL, _LETTER = 6.0, 17.0, 15.0, 15.0, 7.2
_RIGHT = 12.0
"""Half of a label of three digits below the end of the axis."""
_NUMBERS = 34.0
_LONGEST_LABEL = 22


def page_panel(width: float, height: float) -> tuple[Figure, Axes]:
    """A figure of one panel for a page; its pixels are the points of the SVG."""
    figure = Figure(figsize=(width / 72.0, height / 72.0), dpi=72.0)
    return figure, figure.add_subplot()


def place(figure: Figure) -> None:
    """Place the axes of a page panel by fixed margins.

    The library's own layout measures every text, which takes longer than to draw the panel.
    """
    width, height = figure.bbox.size
    axes = figure.axes[0]
    left, right, top, bottom = _MARGIN, _RIGHT, _MARGIN, _TICKS
    if axes.get_title("left") or axes.get_title("right"):
        top = _TOP
    if axes.get_xlabel():
        bottom += _LABEL
    locator, names = axes.yaxis.get_major_locator(), axes.yaxis.get_major_formatter()
    if isinstance(locator, FixedLocator):
        labels = names.format_ticks(axes.get_yticks().tolist())
        lines = [line for label in labels for line in label.splitlines()]
        left += _LETTER * (1 + min(max(map(len, lines), default=0), _LONGEST_LABEL))
    elif not isinstance(names, NullFormatter):
        left += _NUMBERS
    if axes.get_ylabel():
        left += _LABEL
    if len(figure.axes) > 1:
        right += _NUMBERS
    for one in figure.axes:
        one.set_position((
            left / width, bottom / height,
            (width - left - right) / width, (height - top - bottom) / height,
        ))  # fmt: skip


def line_style(place: int) -> dict[str, Any]:
    """Color and dash of the line at ``place``: no two alike among the first 32."""
    return {
        "color": LINES[place % len(LINES)],
        "linestyle": DASHES[(place + place // len(LINES)) % len(DASHES)],
    }


def marker(place: int) -> str:
    return MARKERS[place % len(MARKERS)]


def scale(axis: Axis) -> None:
    """Few round numbers with thousands marked, never a power of ten beside the axis."""
    axis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(StrMethodFormatter("{x:,g}"))


def from_zero(axis: Axis, top: float) -> None:
    """Limits from 0 to ``top`` with room for a whole marker at both ends."""
    room = 0.05 * top
    axis.set_view_interval(-room, top + room, ignore=True)


def measure(axes: Axes, text: str) -> None:
    """What the vertical axis measures, above it, where it takes no width."""
    axes.set_title(text, loc="left", fontsize=9.0, fontweight="normal", color=MUTED)


def name_rows(axes: Axes, names: Sequence[str]) -> None:
    """One row a name, from the top; the name stands above its row, so that it is never cut."""
    axes.yaxis.set_major_locator(NullLocator())
    axes.yaxis.set_major_formatter(NullFormatter())
    axes.set_ylim(len(names) - 0.55, -0.75)
    axes.spines["left"].set_visible(False)
    axes.grid(visible=True, axis="x")
    at = axes.get_yaxis_transform()
    for row, name in enumerate(names):
        axes.text(0.0, row - 0.3, name, transform=at, va="bottom", fontsize=9.0)


def legend(axes: Axes, key: Key, columns: int = 2) -> None:
    """A legend above the axes and what they measure."""
    if not key:
        return
    axes.legend(
        [handle for _, handle in key],
        [_named(label) for label, _ in key],
        ncols=columns,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.08),
        borderaxespad=0.2,
        columnspacing=1.2,
        labelspacing=0.3,
    )


def head(axes: Axes, title: str) -> None:
    """The title of a panel, above what its vertical axis measures."""
    axes.annotate(
        title, (0.0, 1.0), xytext=(0.0, 19.0), xycoords="axes fraction",
        textcoords="offset points", fontsize=10.0, fontweight="bold",
    )  # fmt: skip


# Letters and gaps of a legend's line, for each inch of a figure.
_LETTERS_AN_INCH, _LETTERS_OF_A_GAP = 13.0, 8


def figure_legend(figure: Figure, key: Key) -> None:
    """One legend above all panels of a figure."""
    if not key:
        return
    letters = figure.get_figwidth() * _LETTERS_AN_INCH
    longest = max(len(label) for label, _ in key) + _LETTERS_OF_A_GAP
    figure.legend(
        [handle for _, handle in key],
        [_named(label) for label, _ in key],
        ncols=max(1, min(len(key), int(letters / longest))),
        loc="outside upper left",
    )


def _named(label: str) -> str:
    """A name that begins with an underscore is a name like any other."""
    return f"\u200a{label}" if label.startswith("_") else label


_SWATCH = (28.0, 12.0)
_TILE = 72.0
"""Side of the tile of a hatch, in points, as the plotting library draws it in a panel."""


def swatch(handle: Handle) -> str:
    """A series as a small SVG for the legend of a page: its dash and marker, or its fill."""
    width, height = _SWATCH
    parts = _fill(handle) if isinstance(handle, Patch) else _stroke(handle)
    return (
        f'<svg viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}" '
        f'aria-hidden="true">{"".join(parts)}</svg>'
    )


def _fill(patch: Patch) -> Iterator[str]:
    width, height = _SWATCH
    face = to_rgba(patch.get_facecolor())
    box = f'x="4" y="1" width="{width - 8:g}" height="{height - 2:g}"'
    yield f'<rect {box} fill="{_shade(face)}" fill-opacity="{face[3]:.2g}"/>'
    if hatch := patch.get_hatch():
        # A drawing inside is cut at its edge: of the whole tile as much as the swatch has room for.
        lines = hatch_path(hatch)
        placed = np.asarray(lines.vertices) * (_TILE, -_TILE) + (0.0, _TILE)
        drawn = _drawn(Path2D(placed, lines.codes))
        paper = _shade(PAPER)
        yield (
            f'<svg {box}><path d="{drawn}" stroke="{paper}" fill="{paper}" '
            f'stroke-width="1"/></svg>'
        )


def _stroke(line: Line2D) -> Iterator[str]:
    width, height = _SWATCH
    color, middle = _shade(line.get_color()), height / 2.0
    if line.get_linestyle() != "None":
        thick = line.get_linewidth()
        # The library has no public name for the dashes of a line.
        _, dashes = cast(Any, line)._unscaled_dash_pattern
        pattern = " ".join(f"{dash * thick:.3g}" for dash in dashes or ())
        yield (
            f'<path d="M1 {middle:g}H{width - 1:g}" stroke="{color}" stroke-width="{thick:g}" '
            f'stroke-dasharray="{pattern or "none"}" stroke-opacity="{line.get_alpha() or 1:g}"/>'
        )
    if line.get_marker() not in ("None", None, ""):
        shape = MarkerStyle(line.get_marker())
        size = min(line.get_markersize(), 8.0)
        outline = shape.get_path().transformed(shape.get_transform())
        moved = np.asarray(outline.vertices) * (size, -size) + (width / 2.0, middle)
        face = line.get_markerfacecolor()
        fill = "none" if face == "none" else _shade(face)
        yield (
            f'<path d="{_drawn(Path2D(moved, outline.codes))}" fill="{fill}" '
            f'stroke="{_shade(line.get_markeredgecolor())}"/>'
        )


def _shade(color: Any) -> str:
    return _variable(to_hex(color))


_COMMANDS = {Path2D.MOVETO: "M", Path2D.LINETO: "L", Path2D.CURVE3: "Q", Path2D.CURVE4: "C"}


def _drawn(path: Path2D) -> str:
    """A path of the plotting library in the words of SVG."""
    out = []
    for points, code in path.iter_segments(simplify=False, curves=True):
        if code == Path2D.CLOSEPOLY:
            out.append("z")
        else:
            out.append(_COMMANDS[code] + " ".join(f"{value:.2f}" for value in points))
    return "".join(out)


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
    """An SVG for the middle of a page: own names, the page's colors, a text alternative.

    Parameters
    ----------
    text : as ``svg_text`` gives it.
    key : begins every name inside, so that many figures live on one page.
    alt : what a screen reader says.
    """
    root = _tidied(text, f"{key}-")
    for element in root.iter():
        if "style" in element.attrib:
            style = _HEX.sub(lambda hit: _variable(hit[0]), element.attrib["style"])
            element.set("style", style)
    del root.attrib["width"], root.attrib["height"]
    _describe(root, f"{key}-alt", alt)
    return ElementTree.tostring(root, encoding="unicode")


def svg_file(text: str, alt: str) -> str:
    """An SVG that stands alone, with its text alternative."""
    root = _tidied(text, "")
    root.set("font-family", "system-ui, Helvetica, Arial, sans-serif")
    _describe(root, "alt", alt)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _describe(root: ElementTree.Element, name: str, alt: str) -> None:
    root.set("role", "img")
    root.set("aria-labelledby", name)
    title = ElementTree.Element(f"{{{_SVG}}}title", {"id": name})
    title.text = alt
    root.insert(0, title)


def _tidied(text: str, prefix: str) -> ElementTree.Element:
    """An SVG without metadata and unused names; names in use begin with ``prefix``."""
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
    """The path by steps of a tenth of a point, finer than a screen shows."""
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


def variable_name(color: str) -> str:
    return f"--c{color[1:]}"


def _variable(color: str) -> str:
    return f"var({variable_name(color)})" if color in DARK else color


def save(figure: Figure, path: Path, kind: str, alt: str) -> None:
    """A figure as svg, png or pdf, without date, so that the same figure is the same file."""
    with look():
        if kind == "svg":
            path.write_text(svg_file(svg_text(figure), alt), encoding="utf-8")
            return
        metadata = {"CreationDate": None} if kind == "pdf" else {"Software": None}
        figure.savefig(path, format=kind, dpi=200, metadata=metadata)
