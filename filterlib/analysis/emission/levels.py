"""What a receiver reads on each line and as each mode, and how far that is above the limits; of one design or of many."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise, product

import numpy as np

from filterlib.analysis.emission.emission_result import LINES, EmissionTest, LineSpectra
from filterlib.analysis.emission.receiver import MICROVOLT, REACH, by_band, read, tunings
from filterlib.analysis.linear.two_lines import modal_currents, modal_voltages
from filterlib.system.limits import LimitFile
from filterlib.units import decibels

PLACES = (*LINES, "differential", "common")
CURRENT = "common_current"
_JUDGED = {("line", "dBuV"): LINES, ("common_mode", "dBuV"): ("common",), ("common_mode", "dBuA"): (CURRENT,)}
TOLERANCE = 0.2  # of a network's impedance, in any direction: CISPR 16-1-2, 20 % and 11.5 degrees (from memory)
LOUDEST = 8  # harmonics between two ends of the limits at which a receiver is tuned, where they are many: no source
_ENDS = 1e-3  # share by which a line at an end of the limits counts on both sides of it
_ROUNDING = 1e-9  # share by which rounding may move a frequency past the end of the network's range

Levels = Mapping[tuple[str, str], np.ndarray]


def inside(frequencies: np.ndarray, test: EmissionTest) -> np.ndarray:
    """Which frequencies lie in the network's range (f,).

    >>> inside(np.array([100e3, 150e3, 30e6]), EmissionTest()).tolist()
    [False, True, True]
    """
    low, high = test.at.low * (1 - _ROUNDING), test.at.high * (1 + _ROUNDING)
    kept: np.ndarray = (frequencies >= low) & (frequencies <= high)
    return kept


def tuned_to(frequencies: np.ndarray, test: EmissionTest) -> np.ndarray:
    """Where the receiver is tuned (t,) [Hz]: to the harmonics inside, then between them and to the ends of the limits.

    >>> tuned_to(145e3 * np.arange(1, 3), EmissionTest()).round().tolist()
    [290000.0, 150000.0, 30000000.0]
    """
    return tunings(frequencies[inside(frequencies, test)], frequencies[0], test.ends)


def loudest(lines: Mapping[str, np.ndarray], frequencies: np.ndarray, test: EmissionTest) -> np.ndarray:
    """The harmonics at which a receiver that hears many together may come nearest to a limit (h,).

    What it could read at most there is the sum of all that its filter lets through, and an average is near the one line:
    between two ends of the limits those `LOUDEST` are kept at which either is highest over a limit. ``lines``: place -> (h,)
    of one design.
    """
    kept, chosen = inside(frequencies, test), np.zeros(len(frequencies), dtype=bool)
    for low, high in pairwise(test.ends):
        piece = np.flatnonzero(kept & (frequencies > low * (1 - _ENDS)) & (frequencies < high * (1 + _ENDS)))
        if not piece.size:
            continue
        reach = int(REACH * next(iter(by_band(frequencies[piece[:1]]))).bandwidth / frequencies[0])
        for one in test.judged:
            for place, detector in product(judged_places(one), one.limit.detectors):
                alone = np.abs(lines[place])
                limit = one.limit.at(frequencies[piece], detector)
                for heard in (alone, np.convolve(alone, np.ones(2 * max(reach, 1) + 1), mode="same")):
                    with np.errstate(divide="ignore"):
                        over = decibels(heard[piece]) - limit
                    chosen[piece[np.argsort(-over)[:LOUDEST]]] = True
    return chosen


def amplitudes(spectra: LineSpectra, source: str = "") -> dict[str, np.ndarray]:
    """Both lines, both modes and the common-mode current, of all sources or of one: (..., h) peak [V], [A].

    >>> line = {("plus", "ripple"): np.array([2.0]), ("return", "ripple"): np.array([1.0])}
    >>> float(amplitudes(LineSpectra(np.array([180e3]), line, line))["common"][0])
    1.5
    """
    if source:
        volts, amps = (
            tuple(by_source[line, source] for line in LINES) for by_source in (spectra.voltages, spectra.currents)
        )
    else:
        volts, amps = (tuple(map(read_line, LINES)) for read_line in (spectra.voltage, spectra.current))
    values = (*volts, *modal_voltages(*volts), modal_currents(*amps)[1])
    return dict(zip((*PLACES, CURRENT), values, strict=True))


def levels(lines: Mapping[str, np.ndarray], spacing: float, tuned: np.ndarray) -> dict[tuple[str, str], np.ndarray]:
    """(place, detector) -> level (..., t) [dBµV or dBµA] of ``lines`` (..., h), ``spacing`` apart, at every tuning (t,) [Hz].

    >>> round(float(levels({"plus": np.array([1e-3])}, 180e3, np.array([180e3]))["plus", "peak"][0]), 2)
    56.99
    """
    return {
        (place, detector): decibels(values / MICROVOLT)
        for place, one in lines.items()
        for detector, values in read(one, spacing, tuned).items()
    }


def judged_places(limit: LimitFile) -> tuple[str, ...]:
    """Where this limit holds.

    >>> from filterlib.system.limits import find_limit
    >>> judged_places(find_limit("mains-class-b"))
    ('plus', 'return')
    """
    return _JUDGED[limit.limit.of, limit.limit.unit]


def above(read_: Levels, tuned: np.ndarray, test: EmissionTest) -> dict[tuple[str, str], np.ndarray]:
    """(limit, detector) -> how far each reading is above that limit (..., places, t) [dB]; -inf where none holds.

    >>> readings = {(line, detector): np.array([70.0]) for line in LINES for detector in ("quasi_peak", "average")}
    >>> above(readings, np.array([1e6]), EmissionTest())["mains-class-b", "average"].tolist()
    [[24.0], [24.0]]
    """
    found: dict[tuple[str, str], np.ndarray] = {}
    for one in test.judged:
        for detector in one.limit.detectors:
            level = np.stack([read_[place, detector] for place in judged_places(one)], axis=-2)
            found[one.name, detector] = level - one.limit.at(tuned, detector)
    return found
