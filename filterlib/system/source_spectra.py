"""From what was measured at the terminals to the electromotive forces inside, harmonic by harmonic, one scale each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.network.circuit import Circuit
from filterlib.network.shapes import ring
from filterlib.network.spectrum import lowpass_response, phasors
from filterlib.system.converter import PLUS, RETURN, Arrangement, Converter
from filterlib.system.input import on_input
from filterlib.system.recorded import Recorded
from filterlib.units import format_quantity

TOP = 100e6  # highest harmonic [Hz] where no ring asks for more
RING_TOP = 4.0  # with a ring: this multiple of its frequency
_STEPS = 60  # at most, of the search for the two scales
_CLOSE = 1e-12  # logarithm of a reading over what was stated, or angle, at which it ends
_LOST = 1e-3  # pairs of figures that miss each other by less than this share are taken as feasible


class ScaleError(FilterlibError):
    """Stated figures that contradict each other."""


@dataclass(frozen=True)
class SourceSpectra:
    """Complex Fourier coefficients c_k, k = 0 .. harmonics, of the converter's sources; (h + 1,) or (designs, h + 1).

    ``ripple`` and ``spike`` [V]: the electromotive force in series with the internal impedance; their sum is applied.
    ``common_mode`` [V]: the switching node. ``feasible``: bool, (designs, 1) or scalar: False where the stated figures
    contradict each other for these values of the uncertain_parameters (the coefficients are then NaN). ``largest_factor``: largest
    |emf / probe| used inside the measured band, at ``largest_factor_frequency`` [Hz].
    """

    frequencies: np.ndarray
    ripple: np.ndarray
    spike: np.ndarray
    common_mode: np.ndarray
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


def rectangle(harmonics: np.ndarray, duty: Any) -> np.ndarray:
    """Coefficients c_k of a unit pulse from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(rectangle(np.array([1, 2]), 0.5)).round(4)   # 1/pi, and no even harmonic
    array([0.3183, 0.    ])
    """
    return (1 - phasors(int(np.max(harmonics)), duty)[..., harmonics]) / (2j * np.pi * harmonics)


def triangle(harmonics: np.ndarray, duty: Any) -> np.ndarray:
    """Coefficients c_k of a triangle of 1 peak to peak that rises from t = 0 to duty * T; k >= 1.

    >>> import numpy as np
    >>> abs(triangle(np.array([1, 2]), 0.5)).round(4)   # 2 / pi^2, and no even harmonic
    array([0.2026, 0.    ])
    """
    return rectangle(harmonics, duty) / (duty * (1 - duty) * 2j * np.pi * harmonics)


def switching_current(converter: Converter, harmonics: np.ndarray) -> np.ndarray:
    """Coefficients [A] of the current into the output capacitor: unit triangle, or unit pulse; k >= 1.

    The triangle is an output inductor's current, 1 A peak to peak; the pulse a diode's current of 1 A while the main
    switch is open, with a flat top. Both with corners rounded over the edge time. Where the shape is not stated, the
    triangle.
    """
    duty = converter.duty.value
    wave = -rectangle(harmonics, duty) if converter.shape == "pulse" else triangle(harmonics, duty)
    return wave * np.sinc(harmonics * converter.edge_time.value * converter.switching_frequency)


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
    """
    k = np.arange(1, harmonic_count(converter) + 1)
    frequencies = k * converter.switching_frequency
    ripple, spike = _shapes(converter, k)
    factor_at = _Probe(converter, converter.ripple, frequencies, load_current)
    spike_probe = None
    if converter.spike is not None:
        spike_probe = _Probe(converter, converter.spike, frequencies, load_current)
    recorded = converter.ripple.recording
    if recorded is not None:
        ripple = factor_at.undone(recorded, ripple)
        spike = np.where(factor_at.within, 0, spike)
        a, b, feasible = 1.0, *_spike_scale(converter, ripple, spike, spike_probe)
    elif spike_probe is None:
        a, b, feasible = converter.ripple.peak_to_peak / factor_at.peak_to_peak(ripple), 0.0, np.True_
    else:
        a, b, feasible = _scales(converter, ripple, spike, factor_at, spike_probe)
    if input_voltage is not None and converter.input_voltage is not None:
        converter, larger = on_input(converter, input_voltage)
        if recorded is None:
            ripple, spike = _shapes(converter, k)
        a = a * larger
    worst = np.argmax(np.atleast_2d(factor_at.factor).max(axis=0))
    return SourceSpectra(
        frequencies=np.concatenate([[0.0], frequencies]),
        ripple=_with_dc(a * ripple),
        spike=_with_dc(b * spike),
        common_mode=_with_dc(_common_mode(converter, k)),
        feasible=feasible,
        largest_factor=float(np.max(factor_at.factor)),
        largest_factor_frequency=float(factor_at.inside[worst]),
    )


def _shapes(converter: Converter, k: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Harmonics of ripple and spike before they are scaled; no spike where none is stated."""
    ripple = switching_current(converter, k) * converter.inner_impedance(k * converter.switching_frequency)
    return ripple, np.zeros_like(ripple) if converter.spike is None else _spike_shape(converter, len(k))


def _with_dc(harmonics: np.ndarray) -> np.ndarray:
    return np.concatenate([np.zeros((*harmonics.shape[:-1], 1)), harmonics], axis=-1)


def _common_mode(converter: Converter, k: np.ndarray) -> np.ndarray:
    """The switching node [V]: a trapezoid, high while the switch is closed (step-down) or open (pulse output)."""
    if converter.common_mode is None:
        return np.zeros(k.shape, complex)
    return converter.common_mode.node(
        len(k), converter.period, converter.duty.value, converter.edge_time.value,
        high_first=_directions(converter)[0] > 0,
    )  # fmt: skip


def _spike_shape(converter: Converter, count: int) -> np.ndarray:
    """A damped ring of 1 V at each of the two switching edges, in the direction in which the ripple steps there."""
    assert converter.spike is not None
    frequency, cycles = converter.spike.ring_frequency.value, converter.spike.ring_cycles.value
    period, duty, k = converter.period, converter.duty.value, np.arange(1, count + 1)
    onset = np.minimum(converter.edge_time.value, 0.25 / frequency)
    wave = ring(period, frequency, cycles / frequency, (0.0, duty * period), signs=_directions(converter))
    return wave.coefficients(count)[..., 1:] * np.sinc(k * onset / period)


def _directions(converter: Converter) -> tuple[int, int]:
    """Where the switch closes, and opens: a pulse output's current ends and begins, a triangle turns up and down."""
    return (-1, 1) if converter.shape == "pulse" else (1, -1)


class _Probe:
    """One measuring arrangement: from the electromotive force to what the scope showed."""

    def __init__(self, converter: Converter, seen: Arrangement, frequencies: np.ndarray, load_current: float) -> None:
        current = load_current if seen.load_current is None else seen.load_current
        transfer = measuring_circuit(converter, seen, current).transfer(frequencies, "ripple", ("probe", RETURN))
        self.transfer = transfer * lowpass_response(frequencies, seen.bandwidth, seen.order)
        self.within = frequencies <= (seen.bandwidth or np.inf)
        self.inside = frequencies[self.within]
        self.factor = 1 / np.abs(transfer[..., self.within])

    def waveform(self, emf: np.ndarray) -> np.ndarray:
        return samples(self.transfer * emf)

    def peak_to_peak(self, emf: np.ndarray) -> Any:
        return spread(self.waveform(emf))

    def undone(self, recorded: Recorded, shape: np.ndarray) -> np.ndarray:
        """The emf that reads as recorded, its edges where those of ``shape`` are: a recording's period begins anywhere."""
        seen = recorded.coefficients(shape.shape[-1]) * self.within
        likeness = samples(np.conj(seen) * self.transfer * shape)
        late = np.argmax(likeness, axis=-1)[..., None] / likeness.shape[-1]
        k = np.arange(1, shape.shape[-1] + 1)
        return seen * np.exp(-2j * np.pi * k * late) / self.transfer


def measuring_circuit(converter: Converter, seen: Arrangement, load_current: float) -> Circuit:
    """Converter, the load it fed, and what stood at the probe; the reading is across ("probe", "converter_return")."""
    circuit = Circuit()
    converter.within.add(circuit)
    circuit.resistor("reference", RETURN, "0", 0.0)
    if load_current > 0:
        circuit.resistor("load", PLUS, RETURN, converter.output_voltage / load_current)
    circuit.inductor("probe.lead", PLUS, "probe", seen.lead_inductance)
    circuit.resistor("probe.input", "probe", RETURN, 1e6)
    for number, fixture in enumerate(seen.capacitors, 1):
        circuit.capacitor(f"probe.c{number}", "probe", f"probe:{number}a", fixture.capacitance)
        circuit.resistor(f"probe.r{number}", f"probe:{number}a", f"probe:{number}b", fixture.esr)
        circuit.inductor(f"probe.l{number}", f"probe:{number}b", RETURN, fixture.esl)
    return circuit


def samples(harmonics: np.ndarray) -> np.ndarray:
    """One period from c_1 .. c_n at four points or more to the highest harmonic; (..., n) -> (..., points)."""
    count = 2 ** int(np.ceil(np.log2(4 * harmonics.shape[-1] + 4)))
    return np.fft.irfft(_with_dc(harmonics), count, axis=-1) * count


def spread(values: np.ndarray) -> Any:
    """Peak to peak along the last axis, kept as (designs, 1) where there are designs."""
    width = values.max(axis=-1, keepdims=True) - values.min(axis=-1, keepdims=True)
    return width if width.ndim > 1 else float(width[0])


def _scales(
    converter: Converter, ripple: np.ndarray, spike: np.ndarray, narrow: _Probe, wide: _Probe
) -> tuple[Any, Any, Any]:
    """Scales a, b with pp(narrow(a ripple + b spike)) and pp(wide(a ripple + b spike)) as stated.

    The ratio of the two readings depends on the mixture alone (an angle), and grows with the spike's share: a search
    for the angle, then one common scale.
    """
    assert converter.spike is not None
    stated_narrow, stated_wide = converter.ripple.peak_to_peak, converter.spike.peak_to_peak
    r1, s1, r2, s2 = narrow.waveform(ripple), narrow.waveform(spike), wide.waveform(ripple), wide.waveform(spike)
    unit_r, unit_s = spread(r1), spread(s2)

    def readings(angle: Any) -> tuple[Any, Any]:
        a, b = np.cos(angle) / unit_r, np.sin(angle) / unit_s
        return spread(a * r1 + b * s1), spread(a * r2 + b * s2)

    def miss(angle: Any) -> Any:
        low, high = readings(angle)
        return np.log(high / low) - np.log(stated_wide / stated_narrow)

    left, right = np.zeros(np.shape(unit_s)), np.full(np.shape(unit_s), np.pi / 2)
    at_left, at_right = miss(left), miss(right)
    feasible = (at_left <= _LOST) & (at_right >= -_LOST)
    if np.ndim(feasible) == 0 and not feasible:
        raise ScaleError(_contradiction(converter, *readings(0.0), *readings(np.pi / 2)))
    angle = _root(miss, left, right, at_left, at_right)
    scale = np.where(feasible, stated_narrow / readings(angle)[0], np.nan)
    a, b = scale * np.cos(angle) / unit_r, scale * np.sin(angle) / unit_s
    return (a, b, feasible) if np.ndim(feasible) else (float(a), float(b), feasible)


def _spike_scale(converter: Converter, ripple: np.ndarray, spike: np.ndarray, wide: _Probe | None) -> tuple[Any, Any]:
    """The scale b with pp(wide(ripple + b spike)) as stated: the recorded ripple stays as it is."""
    if converter.spike is None or wide is None:
        return 0.0, np.True_
    r, s, stated = wide.waveform(ripple), wide.waveform(spike), converter.spike.peak_to_peak
    left, right = np.zeros(np.shape(spread(s))), (stated + spread(r)) / spread(s)

    def miss(b: Any) -> Any:
        return np.log(spread(r + b * s) / stated)

    at_left = miss(left)
    feasible = at_left <= _LOST
    if np.ndim(feasible) == 0 and not feasible:
        reads = format_quantity(float(spread(r)), "V")
        raise ScaleError(
            f"converter.spike.peak_to_peak = {format_quantity(stated, 'V')}: the recorded ripple alone already reads "
            f"{reads} in that band; state a larger spike, or none"
        )
    return np.where(feasible, _root(miss, left, right, at_left, miss(right)), np.nan), feasible


def _root(miss: Any, left: Any, right: Any, at_left: Any, at_right: Any) -> Any:
    """Root of ``miss`` between left and right, elementwise; where there is none the value means nothing.

    Source: T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear function
    without using derivatives", Advances in Engineering Software 28 (1997) 145-149 (from memory): inverse quadratic
    interpolation where three points allow it, else halving, so that a reading that stays flat at first delays little.
    """
    a, at_a, b, at_b, share = right, at_right, left, at_left, 0.5
    best, at_best = np.where(abs(at_a) < abs(at_b), a, b), np.minimum(abs(at_a), abs(at_b))
    none = np.sign(at_a) == np.sign(at_b)
    for _ in range(_STEPS):
        x = a + share * (b - a)
        at_x = miss(x)
        same = np.sign(at_x) == np.sign(at_a)
        c, at_c = np.where(same, a, b), np.where(same, at_a, at_b)
        b, at_b = np.where(same, b, a), np.where(same, at_b, at_a)
        a, at_a = x, at_x
        best, at_best = np.where(abs(at_a) < at_best, a, best), np.minimum(abs(at_a), at_best)
        if np.all(none | (at_best < _CLOSE) | (abs(b - a) < _CLOSE)):
            break
        share = _next_share(a, b, c, at_a, at_b, at_c)
    return best


def _next_share(a: Any, b: Any, c: Any, at_a: Any, at_b: Any, at_c: Any) -> Any:
    """Where to look next between a (0) and b (1), the root lying between them and c behind one of them."""
    with np.errstate(all="ignore"):
        xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
        quadratic = at_a / (at_b - at_a) * at_c / (at_b - at_c)
        quadratic += (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
        usable = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
    return np.clip(np.where(usable, quadratic, 0.5), 1e-9, 1 - 1e-9)


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
