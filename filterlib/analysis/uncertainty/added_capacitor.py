"""Which capacitor across the converter's terminals tells what is inside: one of a size that matters, at which harmonics."""

from __future__ import annotations

from itertools import product

import numpy as np

from filterlib.analysis.uncertainty.measurement_result import LEAST_MOVE, TELLS, AddedCapacitor
from filterlib.parts.values import Value
from filterlib.preferred import preferred_values
from filterlib.system.inside.converter import Converter, FixtureCapacitor
from filterlib.system.sources.source_spectra import reading, source_spectra

MOSTLY = 0.75
"""Share of the corners of what may be inside, at which a harmonic must tell to be named."""
USUAL = FixtureCapacitor(capacitance=1e-6, esr=0.01, esl=8e-9)
"""ESR and ESL of a capacitor with its clips: common practice, no source."""
INSIDE = ("output_capacitance", "output_esr", "output_esl", "lead_inductance", "loop_bandwidth")
_HARMONICS = 10  # at which the two are compared: above, both are inductances
_DECADES = range(-9, -1)  # of farads, in which values are tried


def added_capacitor(
    converter: Converter, load_current: float, own: tuple[str, FixtureCapacitor] | None = None
) -> AddedCapacitor:
    """The preferred value (E6) whose impedance suits that inside at the most harmonics and corners of its range.

    The lower a harmonic, the more it counts: the k-th as 1/k, as the capacitance inside shows at the first few alone.
    None is larger than what may be inside: a larger one moves the reading no more, and its inrush may keep a converter down.

    Parameters: ``converter``, with the ranges of its inside; ``load_current`` [A], where its ripple states none; ``own``:
    name and values of the filter's own capacitor, which is taken then: what the filter will see is measured with it.
    Raises ScaleError where the converter's stated figures contradict each other.

    Examples
    --------
    >>> converter = Converter(name="x", output_voltage=28, switching_frequency=180e3, output_capacitance=22e-6,
    ...                  output_esr=12e-3, output_esl=4e-9, lead_inductance=16e-9, ripple={"peak_to_peak": 0.1})
    >>> added = added_capacitor(converter, 4.0)
    >>> 10e-6 <= added.capacitance <= 100e-6, added.orders[0], 0.2e-6 < added.too_small < 5e-6
    (True, 1, True)
    """
    frequencies = converter.switching_frequency * np.arange(1, _HARMONICS + 1)
    corners = _corners(converter)
    inner = np.abs(corners.terminal_impedance(frequencies))
    sizes = np.array([float(f"{value}e{decade}") for decade in _DECADES for value in preferred_values("E6")])
    ratios = np.abs(_impedance(sizes[:, None], frequencies))[:, None, :] / np.atleast_2d(inner)
    tells = np.mean((ratios > TELLS[0]) & (ratios < TELLS[1]), axis=1)
    sizable = sizes <= np.max(converter.output_capacitance.high)
    best = int(np.argmax(np.where(sizable, tells @ (1 / np.arange(1, _HARMONICS + 1)), -1.0)))
    moves = 1 / ratios[:, 0, 0]  # the nominal inside, at the switching frequency
    small = int(np.argmax(moves >= LEAST_MOVE)) - 1
    name, added = own or ("", USUAL.model_copy(update={"capacitance": float(sizes[best])}))
    if own is not None:
        ratio = np.abs(_impedance(added.capacitance, frequencies, added)) / np.atleast_2d(inner)
        tells[best] = np.mean((ratio > TELLS[0]) & (ratio < TELLS[1]), axis=0)
    bare, loaded = _readings(converter, load_current, added)
    known = np.ravel(_readings(corners, load_current, added)[1])
    known = known[np.isfinite(known)]
    return AddedCapacitor(
        capacitance=float(added.capacitance),
        orders=tuple(int(order) + 1 for order in np.flatnonzero(tells[best] >= MOSTLY)),
        bare=float(bare),
        loaded=float(loaded),
        low=float(min(known.min(initial=np.inf), loaded)),
        high=float(max(known.max(initial=0.0), loaded)),
        too_small=float(sizes[small]) if small >= 0 else np.nan,
        too_small_moves=float(moves[small]) if small >= 0 else np.nan,
        name=name,
    )


def _corners(converter: Converter) -> Converter:
    """The converter as an array of designs: nominal, then every corner of the uncertainty inside."""
    ranges = [getattr(converter, name) for name in INSIDE]
    ends = [sorted({one.low, one.high}) for one in ranges]
    rows = np.array([[float(np.max(one.value)) for one in ranges], *product(*ends)])
    return converter.model_copy(update={name: ranges[n].at(rows[:, [n]]) for n, name in enumerate(INSIDE)})


def _impedance(capacitance: Value, frequencies: np.ndarray, mounted: FixtureCapacitor = USUAL) -> np.ndarray:
    s = 2j * np.pi * frequencies
    return np.asarray(mounted.esr + s * mounted.esl + 1 / (s * capacitance))


def _readings(converter: Converter, load_current: float, added: FixtureCapacitor) -> tuple[np.ndarray, np.ndarray]:
    """Peak to peak [V] in the stated arrangement, without and with the added capacitor."""
    sources, stated = source_spectra(converter, load_current), converter.ripple
    bare, loaded = (reading(converter, one, sources, load_current) for one in (stated, stated.with_added(added)))
    return bare, loaded
