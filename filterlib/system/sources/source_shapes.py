"""What the converter's sources are: their spectra, and the shapes of current, spikes and switching node before any scale."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from filterlib.network.extremes import Harmonics, Real
from filterlib.network.shapes import falling_pulse, ring, triangle
from filterlib.network.spectrum import sincs
from filterlib.parts.values import Value
from filterlib.system.inside.converter import Converter, Spike
from filterlib.system.sources.scales import Flags

UNSEEN = Spike(peak_to_peak=1.0, ring_frequency=30e6)
"""A ring that is in the ripple's reading and was not read on its own: slow, or the scope's limit would keep it out (no source)."""


@dataclass(frozen=True)
class SourceSpectra:
    """Complex Fourier coefficients c_k, k = 0 .. harmonics, of the converter's sources; (h + 1,) or (designs, h + 1).

    ``ripple`` and ``spike`` [V]: the electromotive force in series with the internal impedance; their sum is applied.
    ``common_mode`` [V]: the switching node. ``feasible``: bool, (designs, 1) or scalar: False where the stated figures
    contradict each other for these values of the uncertain parameters (the coefficients are then NaN). ``largest_factor``: largest
    |emf / probe| used inside the measured band, at ``largest_factor_frequency`` [Hz]. ``current``: height of the pulse or
    peak to peak of the triangle inside [A], (designs, 1) or a number; NaN of a recording. ``needed``: the least that ripple and
    spike could read beside the other's stated figure [V], of many designs beside common-mode current alone.
    """

    frequencies: Real
    ripple: Harmonics
    spike: Harmonics
    common_mode: Harmonics
    feasible: bool | Flags
    largest_factor: float
    largest_factor_frequency: float
    current: Value = np.nan
    needed: tuple[Value, Value] = (0.0, 0.0)

    def of(self, rows: NDArray[np.intp]) -> SourceSpectra:
        """Those of some of these designs, each as often as it is named."""
        every = {one.name: getattr(self, one.name) for one in fields(self)}
        many = {name: value[rows] for name, value in every.items() if name != "needed" and np.ndim(value) > 1}
        ripple, spike = (one[rows] if isinstance(one, np.ndarray) and one.ndim else one for one in self.needed)
        return replace(self, **many, needed=(ripple, spike))


def switching_current(converter: Converter, harmonics: NDArray[np.int_]) -> Harmonics:
    """Coefficients [A] of the current into the output capacitor: unit triangle, or unit pulse; ``harmonics`` 1, 2, ... n.

    The triangle is an output inductor's current, 1 A peak to peak; the pulse a diode's current of 1 A while the main
    switch is open, on average, which falls by ``pulse_fall``. Both with corners rounded over the edge time. Where the shape is not stated, the
    triangle.
    """
    duty = converter.duty.value
    pulse = converter.shape == "pulse"
    wave = falling_pulse(harmonics, duty, converter.pulse_fall.value) if pulse else triangle(harmonics, duty)
    return np.asarray(wave * sincs(len(harmonics), converter.edge_time.value * converter.switching_frequency))


def node_voltage(converter: Converter, k: NDArray[np.int_]) -> Harmonics:
    """The switching node [V]: a trapezoid, high while the switch is closed (step-down) or open (pulse output)."""
    if converter.common_mode is None:
        return np.zeros(k.shape, complex)
    return converter.common_mode.node(
        len(k), converter.period, converter.duty.value, converter.edge_time.value,
        high_first=_directions(converter)[0] > 0,
    )  # fmt: skip


def spike_shape(converter: Converter, count: int) -> Harmonics:
    """A damped ring of 1 V at the first switching edge, in the direction in which the ripple steps there, and at the second; see `Spike`."""
    spike = converter.spike or UNSEEN
    frequency, cycles = spike.ring_frequency.value, spike.ring_cycles.value
    period, duty = converter.period, converter.duty.value
    onset = np.minimum(converter.edge_time.value, 0.25 / frequency)
    starts = 0.0, duty * period
    first, second = _directions(converter)
    signs = first, second * spike.second_edge.value
    wave = ring(period, frequency, cycles / frequency, starts, signs=signs, harmonics=count)
    lines = wave.coefficients(count)[..., 1:] * sincs(count, onset / period)
    if np.any(start := 2 * np.pi * spike.ring_start.value):
        lines = lines * (np.cos(start) + np.sin(start) * 1j * np.arange(1, count + 1) / (period * frequency))
    return np.asarray(lines)


def _directions(converter: Converter) -> tuple[int, int]:
    """Where the switch closes, and opens: a pulse output's current ends and begins, a triangle turns up and down."""
    return (-1, 1) if converter.shape == "pulse" else (1, -1)


def samples(harmonics: Harmonics) -> Real:
    """One period from c_1 .. c_n at four points or more to the highest harmonic; (..., n) -> (..., points)."""
    count = 2 ** int(np.ceil(np.log2(4 * harmonics.shape[-1] + 4)))
    return np.asarray(np.fft.irfft(with_dc(harmonics), count, axis=-1) * count)


def with_dc(harmonics: Harmonics) -> Harmonics:
    """c_0 = 0 before c_1 .. c_n."""
    return np.concatenate([np.zeros((*harmonics.shape[:-1], 1)), harmonics], axis=-1)
