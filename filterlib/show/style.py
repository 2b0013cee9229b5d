"""How every figure looks: colours that colour-blind people tell apart, and lines that a grey print still tells apart."""

from __future__ import annotations

import re
from typing import TypeAlias

Dash: TypeAlias = str | tuple[int, tuple[float, ...]]  # "-", or where it begins and on, off, ... in widths of the line

# Palette: M. Okabe and K. Ito, "Color Universal Design", 2008 (from memory). Each colour has a line style and a hatch
# of its own, so that nothing depends on colour alone and a grey print still reads.
BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, BLACK = (
    "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000",
)  # fmt: skip
GREY = "#555555"
COLOURS = (BLUE, VERMILION, GREEN, PURPLE, ORANGE)
SOLID: Dash = "-"
DASHES: tuple[Dash, ...] = (SOLID, (0, (5, 2)), (0, (7, 2, 1, 2)), (0, (1, 1.4)), (0, (3, 1, 1, 1, 1, 1)))
FINE, GUIDE, LONG = (0, (1, 2)), (0, (2, 2)), (0, (8, 3))  # ends of a range, a frequency, a limit
BEFORE, AFTER = VERMILION, BLUE


def slug(text: object) -> str:
    """Letters, digits and hyphens only: a name that is safe in a file name and in an identifier.

    >>> slug("Ripple at <modem>, 20 MHz")
    'ripple-at-modem-20-mhz'
    """
    return re.sub(r"[^a-z0-9]+", "-", str(text).lower()).strip("-") or "unnamed"
