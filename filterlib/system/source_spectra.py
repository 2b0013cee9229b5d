"""From what was measured at the terminals to the electromotive forces inside, harmonic by harmonic, one scale each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from filterlib.errors import FilterlibError
from filterlib.network.extremes import Harmonics, Real, peak_to_peak
from filterlib.network.shapes import ring
from filterlib.network.spectrum import phasors
from filterlib.system.converter import Arrangement, Converter
from filterlib.system.input import on_input
from filterlib.system.measuring import Probe
from filterlib.system.recorded import Recorded
from filterlib.units import format_quantity

TOP = 100e6  # highest harmonic [Hz] where no ring asks for more
RING_TOP = 4.0  # with a ring: this multiple of its frequency
_STEPS = 60  # at most, of the search for the two scales
_CLOSE = 1e-13  # logarithm of a reading over what was stated, or share, at which it ends
_LOST = 1e-6  # pairs of figures that miss each other by less than this share are taken as feasible

_Miss: TypeAlias = Callable[[Real], tuple[Real, Real]]
"""How far readings are off [1], rising with the argument, and where they are not while their extremes stay in place."""


Orders: TypeAlias = NDArray[np.int_]


class ScaleError(FilterlibError):
    """Stated figures that contradict each other."""


@dataclass(frozen=True)
class SourceSpectra:
    """Complex Fourier coefficients c_k, k = 0 .. harmonics, of the converter's sources; (h + 1,) or (designs, h + 1).

    ``ripple`` and ``spike`` [V]: the electromotive force in series with the internal impedance; their sum is applied.
    ``common_mode`` [V]: the switching node. ``feasible``: bool, (designs, 1) or scalar: False where the stated figures
    contradict each other for these values of the uncertain parameters (the coefficients are then NaN). ``largest_factor``: largest
    |emf / probe| used inside the measured band, at ``largest_factor_frequency`` [Hz].
    """

    frequencies: Real
    ripple: Harmonics
    spike: Harmonics
    common_mode: Harmonics
    feasible: Any
    largest_factor: float
    largest_factor_frequency: float


def harmonic_count(converter: Converter) -> int:
    """How many harmonics bandwidths and ring ask for."""
    top = TOP
    rings = [converter.spike.ring_frequency] if converter.spike is not None else []
    if converter.common_mode is not None and converter.common_mode.ring is not None:
        rings.append(converter.common_mode.ring.frequency)
    top = max([TOP, *(RING_TOP * float(np.max(one.value)) for one in rings)])
    return int(np.ceil(top / converter.switching_frequency))


def rectangle(harmonics: Orders, duty: Any) -> Harmonics:
    """Coefficients c_k of a unit pulse from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(rectangle(np.array([1, 2]), 0.5)).round(4)   # 1/pi, and no even harmonic
    array([0.3183, 0.    ])
    """
    return np.asarray((1 - phasors(int(np.max(harmonics)), duty)[..., harmonics]) / (2j * np.pi * harmonics))


def triangle(harmonics: Orders, duty: Any) -> Harmonics:
    """Coefficients c_k of a triangle of 1 peak to peak that rises from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(triangle(np.array([1, 2]), 0.5)).round(4)   # 2 / pi^2, and no even harmonic
    array([0.2026, 0.    ])
    """
    return np.asarray(rectangle(harmonics, duty) / (duty * (1 - duty) * 2j * np.pi * harmonics))


def switching_current(converter: Converter, harmonics: Orders) -> Harmonics:
    """Coefficients [A] of the current into the output capacitor: unit triangle, or unit pulse; k >= 1.

    The triangle is an output inductor's current, 1 A peak to peak; the pulse a diode's current of 1 A while the main
    switch is open, with a flat top. Both with corners rounded over the edge time. Where the shape is not stated, the
    triangle.
    """
    duty = converter.duty.value
    wave = -rectangle(harmonics, duty) if converter.shape == "pulse" else triangle(harmonics, duty)
    return np.asarray(wave * np.sinc(harmonics * converter.edge_time.value * converter.switching_frequency))


def source_spectra(converter: Converter, load_current: float, *, input_voltage: float | None = None) -> SourceSpectra:
    """The sources that make the stated figures read exactly as stated, in the stated arrangement.

    Parameters
    ----------
    converter : Converter
        Its values may be arrays (designs, 1).
    load_current : float
        Drawn while measuring, where the file does not say [A].
    input_voltage : float, optional
        Another input voltage than the converter's own, at which the figures were measured [V]: see `on_input`.

    Raises
    ------
    ScaleError
        Where ripple and spike contradict each other (one design; of several, see `SourceSpectra.feasible`).

    Notes
    -----
    Those of the last eight single converters are kept: they stay while filter and load move.
    """
    try:
        hash(converter)
    except TypeError:  # values are arrays
        return _source_spectra(converter, load_current, input_voltage)
    return _kept(converter, load_current, input_voltage)


def _source_spectra(converter: Converter, load_current: float, input_voltage: float | None) -> SourceSpectra:
    k = np.arange(1, harmonic_count(converter) + 1)
    frequencies = np.asarray(k * converter.switching_frequency, float)
    inner = converter.inner_impedance(frequencies)
    ripple, spike = _shapes(converter, k, inner)
    behind = converter.terminal_impedance(frequencies, inner)
    probe = Probe(converter, converter.ripple, frequencies, load_current, behind)
    spike_probe = None
    if converter.spike is not None:
        spike_probe = Probe(converter, converter.spike, frequencies, load_current, behind)
    recorded = converter.ripple.recording
    if recorded is not None:
        ripple = _recorded_emf(recorded, probe, ripple)
        spike = np.where(probe.within, 0, spike)
        a, b, feasible = 1.0, *_spike_scale(converter, ripple, spike, spike_probe)
    elif spike_probe is None:
        a, b, feasible = converter.ripple.peak_to_peak / peak_to_peak(probe.transfer * ripple), 0.0, np.True_
    else:
        a, b, feasible = _scales(converter, ripple, spike, probe, spike_probe)
    if input_voltage is not None and converter.input_voltage is not None:
        converter, larger = on_input(converter, input_voltage)
        if recorded is None:
            ripple, spike = _shapes(converter, k, inner)
        a = a * larger
    factors = 1 / np.abs(np.atleast_2d(probe.divider)[:, probe.within])
    worst = np.argmax(factors.max(axis=0))
    return SourceSpectra(
        frequencies=np.concatenate([[0.0], frequencies]),
        ripple=_with_dc(a * ripple),
        spike=_with_dc(b * spike),
        common_mode=_with_dc(node_voltage(converter, k)),
        feasible=feasible,
        largest_factor=float(np.max(factors)),
        largest_factor_frequency=float(frequencies[probe.within][worst]),
    )


_kept = lru_cache(maxsize=8)(_source_spectra)


def _shapes(converter: Converter, k: Orders, inner: Harmonics) -> tuple[Harmonics, Harmonics]:
    """Harmonics of ripple and spike before they are scaled; no spike where none is stated."""
    ripple = switching_current(converter, k) * inner
    return ripple, np.zeros_like(ripple) if converter.spike is None else spike_shape(converter, len(k))


def _with_dc(harmonics: Harmonics) -> Harmonics:
    return np.concatenate([np.zeros((*harmonics.shape[:-1], 1)), harmonics], axis=-1)


def node_voltage(converter: Converter, k: Orders) -> Harmonics:
    """The switching node [V]: a trapezoid, high while the switch is closed (step-down) or open (pulse output)."""
    if converter.common_mode is None:
        return np.zeros(k.shape, complex)
    return converter.common_mode.node(
        len(k), converter.period, converter.duty.value, converter.edge_time.value,
        high_first=_directions(converter)[0] > 0,
    )  # fmt: skip


def spike_shape(converter: Converter, count: int) -> Harmonics:
    """A damped ring of 1 V at each of the two switching edges, in the direction in which the ripple steps there."""
    assert converter.spike is not None
    frequency, cycles = converter.spike.ring_frequency.value, converter.spike.ring_cycles.value
    period, duty, k = converter.period, converter.duty.value, np.arange(1, count + 1)
    onset = np.minimum(converter.edge_time.value, 0.25 / frequency)
    starts = 0.0, duty * period
    wave = ring(period, frequency, cycles / frequency, starts, signs=_directions(converter), harmonics=count)
    return np.asarray(wave.coefficients(count)[..., 1:] * np.sinc(k * onset / period))


def _directions(converter: Converter) -> tuple[int, int]:
    """Where the switch closes, and opens: a pulse output's current ends and begins, a triangle turns up and down."""
    return (-1, 1) if converter.shape == "pulse" else (1, -1)


def _recorded_emf(recorded: Recorded, probe: Probe, shape: Harmonics) -> Harmonics:
    """That which reads as recorded, its edges where those of ``shape`` are: a recording's period begins anywhere."""
    k = np.arange(1, shape.shape[-1] + 1)
    harmonics = recorded.coefficients(len(k)) * probe.within
    likeness = samples(np.conj(harmonics) * probe.transfer * shape)
    late = np.argmax(likeness, axis=-1)[..., None] / likeness.shape[-1]
    return np.asarray(harmonics * np.exp(-2j * np.pi * k * late) / probe.transfer)


def reading(converter: Converter, arrangement: Arrangement, sources: SourceSpectra, load_current: float) -> Real:
    """What an arrangement shows of ripple and spike: peak to peak [V], one number or (designs, 1).

    ``load_current`` [A]: drawn meanwhile, where the arrangement states none. NaN where the figures contradict each other.
    """
    probe = Probe(converter, arrangement, sources.frequencies[1:], load_current)
    return peak_to_peak(probe.transfer * (sources.ripple + sources.spike)[..., 1:])


def samples(harmonics: Harmonics) -> Real:
    """One period from c_1 .. c_n at four points or more to the highest harmonic; (..., n) -> (..., points)."""
    count = 2 ** int(np.ceil(np.log2(4 * harmonics.shape[-1] + 4)))
    return np.asarray(np.fft.irfft(_with_dc(harmonics), count, axis=-1) * count)


def _scales(
    converter: Converter, ripple: Harmonics, spike: Harmonics, probe: Probe, spike_probe: Probe
) -> tuple[Any, Any, Any]:
    """Scales a, b with which both arrangements read a ripple + b spike as stated.

    The ratio of the two readings depends on the spike's share alone, and grows with it: a search for the share, then one
    common scale. While the extremes stay where they are, both readings are linear in the share.
    """
    assert converter.spike is not None
    stated, stated_wide = np.ravel(converter.ripple.peak_to_peak), np.ravel(converter.spike.peak_to_peak)
    shape = _shape(converter, ripple, spike, probe.transfer, spike_probe.transfer)
    narrow, wide = (one.mixture([ripple, spike], shape) for one in (probe, spike_probe))
    none, whole = np.zeros(narrow.designs), np.ones(narrow.designs)
    unit_r, unit_s = narrow.swings(whole, none)[0], wide.swings(none, whole)[1]

    def readings(share: Real) -> tuple[Real, Real, Real]:
        a, b = (1 - share) / unit_r, share / unit_s
        (r1, s1), (r2, s2) = narrow.swings(a, b), wide.swings(a, b)
        without, alone = (
            (two / stated_wide - one / stated) / unit for one, two, unit in ((r1, r2, unit_r), (s1, s2, unit_s))
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            return a * r1 + b * s1, a * r2 + b * s2, without / (without - alone)

    def miss(share: Real) -> tuple[Real, Real]:
        low, high, there = readings(share)
        return np.log(high / low * stated / stated_wide), there

    (at_none, _), (at_whole, start) = miss(none), miss(whole)
    feasible = (at_none <= _LOST) & (at_whole >= -_LOST)
    if len(shape) == 1 and not feasible[0]:
        raise ScaleError(
            _contradiction(converter, *(float(v[0]) for share in (none, whole) for v in readings(share)[:2]))
        )
    share = _root(miss, none, whole, start, feasible)
    scale = np.where(feasible, stated / readings(share)[0], np.nan)
    return (
        _by_design(scale * (1 - share) / unit_r, shape),
        _by_design(scale * share / unit_s, shape),
        _by_design(feasible, shape),
    )


def _spike_scale(converter: Converter, ripple: Harmonics, spike: Harmonics, probe: Probe | None) -> tuple[Any, Any]:
    """The scale b with which the spike's arrangement reads ripple + b spike as stated: a recorded ripple stays as it is."""
    if converter.spike is None or probe is None:
        return 0.0, np.True_
    stated, shape = np.ravel(converter.spike.peak_to_peak), _shape(converter, ripple, spike, probe.transfer)
    wide = probe.mixture([ripple, spike], shape)
    none, whole = np.zeros(wide.designs), np.ones(wide.designs)
    alone, unit = wide.swings(whole, none)[0], wide.swings(none, whole)[1]

    def miss(b: Real) -> tuple[Real, Real]:
        r, s = wide.swings(whole, b)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log((r + b * s) / stated), (stated - r) / s

    feasible = np.log(alone / stated) <= _LOST
    if len(shape) == 1 and not feasible[0]:
        raise ScaleError(
            f"converter.spike.peak_to_peak = {format_quantity(float(stated[0]), 'V')}: the recorded ripple alone already "
            f"reads {format_quantity(float(alone[0]), 'V')} in that band; state a larger spike, or none"
        )
    most = (stated + alone) / unit
    b = np.where(feasible, _root(miss, none, most, miss(most)[1], feasible), np.nan)
    return _by_design(b, shape), _by_design(feasible, shape)


def _shape(converter: Converter, *arrays: Harmonics) -> tuple[int, ...]:
    """Of all of them, and of the stated figures, together: (h,) or (designs, h)."""
    stated = [one.peak_to_peak for one in (converter.ripple, converter.spike) if one is not None]
    return np.broadcast_shapes(*(np.shape(one) for one in (*arrays, *stated)))


def _by_design(values: Any, shape: tuple[int, ...]) -> Any:
    """Values (designs,) as one number, or (designs, 1)."""
    return values[0] if len(shape) == 1 else values[:, None]


def _root(miss: _Miss, left: Real, right: Real, start: Real, wanted: NDArray[np.bool_]) -> Real:
    """Root of ``miss`` between left and right, elementwise; where none is ``wanted`` the value means nothing.

    Newton's method, as the readings are linear in between; halving where that leaves the interval or gains too little.
    """
    x, done = np.where((start > left) & (start < right), start, (left + right) / 2), ~wanted
    before = np.full(x.shape, np.inf)
    for _ in range(_STEPS):
        off, there = miss(x)
        done |= np.abs(off) < _CLOSE
        if np.all(done):
            break
        left, right = np.where(off < 0, x, left), np.where(off < 0, right, x)
        usable = (there > left) & (there < right) & (np.abs(off) < before / 2)
        x, before = np.where(done, x, np.where(usable, there, (left + right) / 2)), np.abs(off)
    return x


def _contradiction(
    converter: Converter, ripple_low: float, ripple_high: float, spike_low: float, spike_high: float
) -> str:
    """Why no mixture of ripple and spike reads both figures."""
    assert converter.spike is not None
    narrow, wide = converter.ripple.peak_to_peak, converter.spike.peak_to_peak
    if ripple_high / ripple_low > wide / narrow:
        reads = format_quantity(narrow * ripple_high / ripple_low, "V")
        return (
            f"converter.spike.peak_to_peak = {format_quantity(wide, 'V')}: the ripple alone already reads {reads} "
            f"in that band when it reads {format_quantity(narrow, 'V')} in the ripple's; state a larger spike, or none"
        )
    reads = format_quantity(wide * spike_low / spike_high, "V")
    return (
        f"converter.ripple.peak_to_peak = {format_quantity(narrow, 'V')}: a spike of {format_quantity(wide, 'V')} "
        f"alone still reads {reads} through the ripple's bandwidth; state at least that, a faster ring "
        "(converter.spike.ring_frequency), or a limit of higher order (converter.ripple.order)"
    )
