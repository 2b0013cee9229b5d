"""How every figure looks: colours that colour-blind people tell apart, SI prefixes on each axis, SVG that repeats."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

P = ParamSpec("P")

# Palette: M. Okabe and K. Ito, "Color Universal Design", 2008 (from memory). Each colour has a line style and a hatch
# of its own, so that nothing is told by colour alone and a grey print still reads.
BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, BLACK = (
    "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000",
)  # fmt: skip
COLOURS = (BLUE, VERMILION, GREEN, PURPLE, ORANGE)
DASHES: tuple[object, ...] = ("-", (0, (5, 2)), (0, (7, 2, 1, 2)), (0, (1, 1.4)), (0, (3, 1, 1, 1, 1, 1)))
HATCHES = ("", "///", "...", "xx", "\\\\")
BEFORE, AFTER = VERMILION, BLUE

_SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 10.5,
    "axes.titlesize": 10.5,
    "axes.titlelocation": "left",
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": "#d4d4d4",
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "legend.handlelength": 2.8,
    "lines.linewidth": 1.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "filterlib",
    "text.parse_math": False,  # a name from a design file is text, never markup
    "text.usetex": False,
}


@contextmanager
def _style(settings: Any = None) -> Iterator[None]:
    import matplotlib

    with matplotlib.rc_context(_SETTINGS | (settings or {})), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the reader's browser has more fonts than we do
        yield


def styled(draw: Callable[P, Figure]) -> Callable[P, Figure]:
    """Let a function that draws a figure do so in this style."""

    @wraps(draw)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> Figure:
        with _style():
            return draw(*args, **kwargs)

    return wrapped


def new_figure(
    title: str,
    rows: int = 1,
    columns: int = 1,
    *,
    height: float,
    share: str = "",
    gap: float = 0.15,
    wide: bool = False,
) -> tuple[Figure, list[Axes]]:
    """An empty figure 10 inches wide and its axes, row by row; ``title`` becomes the SVG's title.

    ``height`` and ``gap`` between rows in inches; ``share``: the axes ("x", "y" or both) that panels have in common;
    ``wide``: make room for long words at the left. Fixed margins otherwise: fitting them takes as long as drawing.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.0, height), layout="constrained" if wide else None)
    figure.set_label(title)
    if not wide:
        panel = (height - 0.95 - gap * (rows - 1)) / rows
        figure.subplots_adjust(0.11, 0.55 / height, 0.965, 1 - 0.4 / height, 0.32, gap / panel)
    axes = figure.subplots(rows, columns, squeeze=False, sharex="x" in share, sharey="y" in share)
    return figure, list(axes.ravel())


def prefixed(axes: Axes, axis: str, unit: str, label: str) -> None:
    """Tick labels with unit and SI prefix: one prefix for a linear axis, each tick its own on a logarithmic one."""
    from matplotlib.ticker import EngFormatter, FuncFormatter, MaxNLocator, NullLocator

    which = getattr(axes, f"{axis}axis")
    which.set_label_text(label)
    if which.get_scale() == "log":
        which.set_major_formatter(EngFormatter(unit=unit))
        which.set_minor_locator(NullLocator())  # hundreds of ticks, most of the time that a figure takes
        return

    def text(value: float, _position: object = None) -> str:
        prefix, scale = _prefix(max(abs(limit) for limit in which.get_view_interval()))
        return f"{value / scale:g} {prefix}{unit}".replace("-", "\N{MINUS SIGN}")

    which.set_major_formatter(FuncFormatter(text))
    which.set_major_locator(MaxNLocator(nbins=5 if axis == "x" else 6, steps=[1, 2, 2.5, 5, 10]))


def _prefix(largest: float) -> tuple[str, float]:
    for prefix, scale in (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("µ", 1e-6), ("n", 1e-9)):
        if largest >= scale:
            return prefix, scale
    return "p", 1e-12


def legend_above(axes: Axes, columns: int = 4) -> None:
    """The legend above the plot, where it can hide no curve."""
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=columns, borderaxespad=0.2, columnspacing=1.6)


def svg(figure: Figure) -> str:
    """The figure as an SVG element whose text is text and whose bytes are the same each time.

    The element carries the figure's label as its title. Identifiers begin with a slug of that label, so that several
    figures can stand in one page.
    """
    buffer = io.BytesIO()
    with _style():
        figure.savefig(buffer, format="svg", metadata={"Title": str(figure.get_label())})
    text = buffer.getvalue().decode("utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<defs>\s*<style.*?</style>\s*</defs>", "", text, flags=re.DOTALL)
    text = text.replace("<svg", '<svg stroke-linejoin="round" stroke-linecap="butt"', 1)
    text = text.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, Arial, sans-serif")
    return own_identifiers(re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL), slug(figure.get_label()))


def own_identifiers(svg_text: str, prefix: str) -> str:
    """Identifiers of an SVG element and the references to them, all led by ``prefix``; unused ones dropped."""
    used = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', svg_text))

    def renamed(match: re.Match[str]) -> str:
        return f' id="{prefix}-{match[1]}"' if match[1] in used else ""

    svg_text = re.sub(r' id="([^"]*)"', renamed, svg_text)
    return re.sub(r'(url\(#|href="#)([^)"]+)', rf"\1{prefix}-\2", svg_text)


def slug(text: object) -> str:
    """Letters, digits and hyphens only: a name that is safe in a file name and in an identifier.

    >>> slug("Ripple at <modem>, 20 MHz")
    'ripple-at-modem-20-mhz'
    """
    return re.sub(r"[^a-z0-9]+", "-", str(text).lower()).strip("-") or "unnamed"


def save(figure: Figure, path: str | Path) -> None:
    """Write the figure to an SVG file."""
    Path(path).write_text(svg(figure) + "\n", encoding="utf-8")
