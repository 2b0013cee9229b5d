"""The drawing of three conductors with their currents: wires and symbols as lines, currents as paths of their width."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TypeAlias

import numpy as np

from filterlib.analysis.ripple.conductor_currents import ConductorCurrents
from filterlib.show import panels as ui
from filterlib.show.figures.plots import thinned
from filterlib.show.panels.drawing_marks import Points
from filterlib.show.panels.marks import Extent
from filterlib.show.style import BLACK, BLUE, DASHES, VERMILION
from filterlib.words.quantities import number

# Heights: both lines, what both carry together, and the third conductor.
PLUS, RETURN, SHARED, CHASSIS = 38.0, 26.0, 22.5, 4.0
DIFFERENTIAL = {"converter": (30.0, 42.0), "choke": (42.0, 73.0), "lead": (73.0, 88.0)}  # they change at C1 and C2,
COMMON = {"converter": (30.0, 47.0), "choke": (47.0, 67.0), "lead": (67.0, 88.0)}  # at the Y capacitors
TAPS = {"battery": 5.0, "coupling": 19.0, "bond": 33.0, "Yc": 47.0, "Yl": 67.0, "modem": 94.0}
FROM = {"bond": RETURN}  # height at which what reaches the chassis begins; of the others `BOX`
BOX, GAP = 22.0, 0.7  # lower edge of the boxes; half of a capacitor's gap
ACROSS = {"C1": 42.0, "C2": 73.0}
ENDS = (2.0, 98.0)
ARROW = (0.9, 1.3)  # half the width of a head, across and up
LEAST_CURRENT = 1e-15  # [A] that stands for none
Label: TypeAlias = tuple[float, float, str]  # x, y, words
SHORT = (0, (1.6, 0.7))  # dashes, times the width
FINEST, PER_DECADE, LEAST = 1e-5, 1.5, 0.7  # [A] drawn with the least width; points a decade; points


def width(amps: float) -> float:
    """Of a path [points]: 1.5 more for ten times the current.

    >>> width(1e-6), width(1e-4), width(1e-2)
    (0.7, 2.2, 5.2)
    """
    return round(LEAST + PER_DECADE * max(0.0, float(np.log10(max(amps, 1e-12) / FINEST))), 6)


def picture() -> ui.Picture[ConductorCurrents]:
    """The drawing, and the driven and the arriving current over frequency."""
    drawing: ui.Plot[ConductorCurrents] = ui.Plot(
        "Currents, rms in an octave: a line is 1.5 points wider for ten times the current",
        ui.Axis("", limits=(0, 100), hidden=True),
        ui.Axis("", limits=(-5, 48), hidden=True),
        (
            ui.Lines("_wires", lambda r: tuple(_wires(r)), BLACK, "-"),
            ui.Paths("differential, i_dm = (i+ − i−)/2", lambda r: tuple(_differential(r)), BLUE, "-"),
            ui.Paths("common mode, i_cm = i+ + i−", lambda r: tuple(_common(r)) or None, VERMILION, SHORT),
            ui.Lines("_differential arrows", lambda r: tuple(_line_arrows()), BLUE, "-"),
            ui.Lines("_common arrows", lambda r: tuple(_common_arrows(r)) or None, VERMILION, "-"),
            *_names(),
            *_numbers(),
        ),
    )
    spectrum: ui.Plot[ConductorCurrents] = ui.Plot(
        "Over frequency",
        ui.Axis("frequency", "Hz", "log", limits=(1e5, 2e8)),
        ui.Axis("common-mode current", "A", "log", span=1e4),
        (
            ui.Curve("driven by the switching node", _driven, BLACK, DASHES[3]),
            ui.Curve("common mode in the lead", _arriving, VERMILION, "-", kept=True),
            ui.Level("frequency of the octave", lambda r: (r.frequency,), upright=True),
        ),
    )
    return ui.Picture([drawing, spectrum], name="Common mode, made visible", size=(924, 350), widths=(27, 10))


def _driven(r: ConductorCurrents) -> Extent | None:
    return thinned(r.harmonics, r.tap_spectra["coupling"]) if r.taps else None


def _arriving(r: ConductorCurrents) -> Extent | None:
    return thinned(r.harmonics, np.maximum(r.common_spectra["lead"], LEAST_CURRENT)) if r.taps else None


# ---- wires and symbols ----------------------------------------------------------------------------------------------


def _wires(r: ConductorCurrents) -> Iterator[Points]:
    """Both lines, boxes and symbols; of the chassis and what reaches it only what is there."""
    yield from (_box(9, BOX, 30, 42), _box(88, BOX, 98, 42))
    for y in (PLUS, RETURN):
        yield from (((30, y), (52, y)), _coil(52, 61, y), ((61, y), (88, y)))
    for x in ACROSS.values():
        yield from _capacitor(x, PLUS, RETURN)
    if r.taps:
        yield ((ENDS[0], CHASSIS - 1.6), (ENDS[1], CHASSIS - 1.6))
        yield from (((x, CHASSIS - 1.6), (x - 1.2, CHASSIS - 3)) for x in range(4, 98, 3))
    if "battery" in r.taps:
        yield from (((9, RETURN), (5, RETURN)), ((5, RETURN), (5, CHASSIS - 1.6)))
    if "coupling" in r.taps:
        yield from _capacitor(TAPS["coupling"], BOX, CHASSIS - 1.6)
    for name in ("bond", "modem"):
        if name in r.taps:
            yield ((TAPS[name], FROM.get(name, BOX)), (TAPS[name], CHASSIS - 1.6))
    for name in ("Yc", "Yl"):
        if name in r.taps:
            x = TAPS[name]
            yield from _capacitor(x - 2.2, PLUS, CHASSIS - 1.6, at=15.5)
            yield from _capacitor(x + 2.2, RETURN, CHASSIS - 1.6, at=15.5)


def _box(left: float, bottom: float, right: float, top: float) -> Points:
    return ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))


def _coil(left: float, right: float, y: float) -> Points:
    """Four humps."""
    turn = np.linspace(0, 4 * np.pi, 49)
    return tuple(zip(left + (right - left) * turn / turn[-1], y + 1.8 * np.abs(np.sin(turn)), strict=True))


def _capacitor(x: float, top: float, bottom: float, *, at: float | None = None) -> Iterator[Points]:
    middle = (top + bottom) / 2 if at is None else at
    yield from (((x, top), (x, middle + GAP)), ((x, middle - GAP), (x, bottom)))
    yield from (((x - 1.1, middle + side), (x + 1.1, middle + side)) for side in (GAP, -GAP))


# ---- currents -------------------------------------------------------------------------------------------------------


def _differential(r: ConductorCurrents) -> Iterator[tuple[float, Points]]:
    for name, (left, right) in DIFFERENTIAL.items():
        wide = width(r.differential[name])
        yield from ((wide, ((left, y), (right, y))) for y in (PLUS, RETURN))
    for name, x in ACROSS.items():
        yield from ((width(r.across[name]), way) for way in _parted(x, PLUS, RETURN))


def _parted(x: float, top: float, bottom: float) -> Iterator[Points]:
    """A way down with the gap of a capacitor in its middle."""
    middle = (top + bottom) / 2
    yield from (((x, top), (x, middle + GAP)), ((x, middle - GAP), (x, bottom)))


def _common(r: ConductorCurrents) -> Iterator[tuple[float, Points]]:
    """What both lines carry together, what reaches the chassis, and what flows in it."""
    for name, amps in r.common.items():
        left, right = COMMON[name]
        yield width(amps), ((left, SHARED), (right, SHARED))
    for name, amps in r.taps.items():
        x = TAPS[name]
        if name == "battery":
            yield width(amps), ((9, RETURN), (x, RETURN), (x, CHASSIS))
        elif name == "coupling":
            yield from ((width(amps), way) for way in _parted(x, BOX, CHASSIS - 1.6))
        else:
            yield width(amps), ((x, FROM.get(name, SHARED)), (x, CHASSIS))
    for amps, left, right in _stretches(r):
        yield width(amps), ((left, CHASSIS), (right, CHASSIS))


def _stretches(r: ConductorCurrents) -> Iterator[tuple[float, float, float]]:
    """Current in the chassis between each tap and the next."""
    places = [TAPS[name] for name in r.taps]
    yield from zip(r.chassis, places[:-1], places[1:], strict=True)


# ---- directions, while the node's current flows into the chassis ------------------------------------------------------


def _line_arrows() -> Iterator[Points]:
    """By convention a differential current flows out along plus and back along return."""
    for x in (36.0, 80.0):
        yield from (_arrow(x, PLUS, 1, 0), _arrow(x, RETURN, -1, 0))


def _common_arrows(r: ConductorCurrents) -> Iterator[Points]:
    for name, towards in r.directions.items():
        if not towards:
            continue
        if name in TAPS:
            yield _arrow(TAPS[name], 8.0, 0, -towards)
        elif name in COMMON:
            yield _arrow(sum(COMMON[name]) / 2, SHARED, towards, 0)
        else:
            _, left, right = list(_stretches(r))[int(name.split()[1])]
            yield _arrow((left + right) / 2, CHASSIS, towards, 0)


def _arrow(x: float, y: float, right: float, up: float) -> Points:
    """A head at a point, towards right or left, up or down."""
    wide, high = ARROW
    side = (0.0, high) if right else (wide, 0.0)
    back = (x - right * 1.6 * wide, y - up * 1.6 * high)
    return ((back[0] + side[0], back[1] + side[1]), (x, y), (back[0] - side[0], back[1] - side[1]))


# ---- words ----------------------------------------------------------------------------------------------------------


def _names() -> Iterator[ui.Words[ConductorCurrents]]:
    """What the symbols are called."""
    for name, x, y in (
        ("converter", 19.5, 32),
        ("modem", 93, 32),
        ("L1", 56.5, 32),
        ("plus", 26.5, PLUS),
        ("return", 25.5, RETURN),
    ):
        yield ui.Words(f"_{name}", partial(_constant, x, y, name), BLACK)
    for name, x in ACROSS.items():
        yield ui.Words(f"_{name}", partial(_constant, x - 1.6, 34.6, name), BLACK, align="right")
    yield ui.Words("_chassis", lambda r: (50, -3.6, "chassis" if r.taps else "no chassis"), BLACK)
    for name, words in (
        ("battery", "cable and\nbattery"),
        ("coupling", "switching\nnode"),
        ("bond", "bond"),
        ("Yc", "Y"),
        ("Yl", "Y"),
        ("modem", "coax"),
    ):
        yield ui.Words(f"_tap {name}", partial(_tap_name, name, words), BLACK, align="left")


def _numbers() -> Iterator[ui.Words[ConductorCurrents]]:
    for name in DIFFERENTIAL:
        above, below = (sum(places[name]) / 2 for places in (DIFFERENTIAL, COMMON))
        yield ui.Words(f"_differential {name}", partial(_section, "differential", name, above, PLUS + 4.6), BLUE)
        yield ui.Words(f"_common {name}", partial(_section, "common", name, below, SHARED - 2.8), VERMILION)
    for name, x in ACROSS.items():
        yield ui.Words(f"_across {name}", partial(_across, name, x - 1.6), BLUE, align="right")
    for name in TAPS:
        yield ui.Words(f"_into {name}", partial(_into, name), VERMILION, align="left")
    for place in range(len(TAPS) - 1):
        yield ui.Words(f"_chassis {place}", partial(_in_chassis, place), VERMILION)


def _constant(x: float, y: float, words: str, r: ConductorCurrents) -> Label:
    return x, y, words


def _section(mode: str, name: str, x: float, y: float, r: ConductorCurrents) -> Label | None:
    currents = getattr(r, mode)
    return (x, y, number(currents[name], "A")) if name in currents else None


def _across(name: str, x: float, r: ConductorCurrents) -> Label:
    return x, 29.6, number(r.across[name], "A")


def _tap_name(name: str, words: str, r: ConductorCurrents) -> Label | None:
    return (TAPS[name] + _aside(name), 16.2 if "\n" in words else 15.2, words) if name in r.taps else None


def _aside(name: str) -> float:
    """How far to the right of what reaches the chassis its words begin."""
    return 4.0 if name.startswith("Y") else 2.2


def _into(name: str, r: ConductorCurrents) -> Label | None:
    return (TAPS[name] + _aside(name), 11.0, number(r.taps[name], "A")) if name in r.taps else None


def _in_chassis(place: int, r: ConductorCurrents) -> Label | None:
    stretches = list(_stretches(r))
    if place >= len(stretches):
        return None
    amps, left, right = stretches[place]
    return (left + right) / 2, CHASSIS + 2.4, number(amps, "A")
