"""What the notebooks' panels share: the demo designs, the frequencies that mark them, and changes as options of a choice."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TypeAlias

from filterlib.analysis.causes.candidates import SHORT_WAY
from filterlib.bench.design_copy import changed_text
from filterlib.bench.design_file import load_design
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.reading import data_folder
from filterlib.show.panels import Values, parts
from filterlib.system.design import Design
from filterlib.system.line.stages import ChassisCapacitor
from filterlib.system.ranges.changes import changed

LOAD = "modem"
SWITCHING = 180e3  # [Hz] of the clean converter
SPIKE = 30e6  # [Hz] where a converter's edges ring
EDGES = 2e-6  # [s] from the first edge on, in which both edges of the brick ring out
WITH, WITHOUT = "with filter", "without filter"
Change: TypeAlias = Callable[[Design], Design]


def demo_file(name: str) -> Path:
    """A design file of data/designs, by the end of its name."""
    return data_folder() / "designs" / f"tide-gauge-{name}.toml"


def demo(name: str) -> Design:
    """The design in that file."""
    return load_design(demo_file(name))


def demo_text(name: str) -> Callable[[Design], str]:
    """What a changed design is saved as: the text of that file, but for what moved."""
    return partial(changed_text, demo_file(name))


def as_it_is(design: Design) -> Design:
    """The same."""
    return design


def by_keys(values: Values) -> Change:
    """A change of a design by keys, as a function."""
    return partial(changed, values=dict(values))


def _with_y(design: Design, *, part: str, name: str) -> Design:
    """A Y capacitor on each line: "Yc" before the choke, "Yl" at the load's end."""
    stage = ChassisCapacitor(
        kind="capacitor_to_chassis", name=name, part=parts(Capacitor)[part], mounting_loop=SHORT_WAY
    )
    at = 1 if name == "Yc" else len(design.filter)
    return design.replace(filter=(*design.filter[:at], stage, *design.filter[at:]))


_SMALL, _LARGE = "class2-4n7-Y2-2211", "film-10n-Y2"
Y_CAPACITORS: dict[str, Change] = {
    "none": as_it_is,
    "2 × 4.7 nF, before the choke": partial(_with_y, part=_SMALL, name="Yc"),
    "2 × 10 nF, before the choke": partial(_with_y, part=_LARGE, name="Yc"),
    "2 × 4.7 nF, load's end": partial(_with_y, part=_SMALL, name="Yl"),
    "2 × 10 nF, load's end": partial(_with_y, part=_LARGE, name="Yl"),
}
