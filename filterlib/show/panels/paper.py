"""How a panel's picture looks where matplotlib draws it: letters, grid, SI prefixes on each axis, and as an SVG element."""

from __future__ import annotations

import io
import re
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from filterlib.show.figures.ticks import prefix_for
from filterlib.show.style import slug

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

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


_ALONE = threading.RLock()  # matplotlib's settings are the process's, and a check draws beside the browser's messages


@contextmanager
def style(settings: dict[Any, Any] | None = None) -> Iterator[None]:
    """Our settings, for one thread at a time."""
    import matplotlib

    with _ALONE, matplotlib.rc_context(_SETTINGS | (settings or {})), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the reader's browser has more fonts than we do
        yield


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
        prefix, scale = prefix_for(max(abs(limit) for limit in which.get_view_interval()))
        return f"{value / scale:g} {prefix}{unit}".replace("-", "\N{MINUS SIGN}")

    which.set_major_formatter(FuncFormatter(text))
    which.set_major_locator(MaxNLocator(nbins=5 if axis == "x" else 6, steps=[1, 2, 2.5, 5, 10]))


def svg(figure: Figure) -> str:
    """The figure as an SVG element whose text is text and whose bytes are the same each time.

    The element carries the figure's label as its title. Identifiers begin with a slug of that label, so that several
    figures fit into one page.
    """
    buffer = io.BytesIO()
    with style():
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
