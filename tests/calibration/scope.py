"""What a scope makes of a voltage: figures in a band, and recordings as files."""

from __future__ import annotations

import numpy as np

LEVELS = 256
TIMED = 34_000  # samples of a recording, at most
SLOWEST = 10e-9  # [s] between samples
NOISE = 1 / 500  # of full scale, rms


def limited(frequencies: np.ndarray, bandwidth: float, order: int) -> np.ndarray:
    """A Butterworth limit of first or second order, (f,)."""
    s = 1j * frequencies / bandwidth
    return np.asarray(1 / (1 + s) if order == 1 else 1 / (1 + np.sqrt(2) * s + s**2))


def wave(coefficients: np.ndarray) -> np.ndarray:
    """One period of c_1 .. c_n, at 8 points or more of the highest harmonic."""
    count = 2 ** int(np.ceil(np.log2(8 * coefficients.size)))
    return np.fft.irfft(np.concatenate([[0], coefficients]), count) * count


def peak_to_peak(coefficients: np.ndarray) -> float:
    return float(np.ptp(wave(coefficients)))


def rms(coefficients: np.ndarray) -> float:
    return float(np.sqrt(2 * np.sum(np.abs(coefficients) ** 2)))


def full_scale(peak_to_peak: float) -> float:
    """The least of 8 divisions in steps of 1, 2, 5 that holds it with a tenth to spare [V]."""
    divisions = np.array([1, 2, 5])[:, None] * 10.0 ** np.arange(-4, 2)
    scales = np.sort(8 * divisions.ravel())
    return float(scales[np.searchsorted(scales, 1.1 * peak_to_peak)])


def recording(coefficients: np.ndarray, period: float, seed: int, *, bandwidth: float) -> str:
    """A file of 8-bit samples of some hundred periods, with noise and jitter; one column of millivolts."""
    random = np.random.default_rng(seed)
    step = float(np.clip(100 * period / TIMED, 2e-9, SLOWEST))
    times = np.arange(min(TIMED, int(100 * period / step))) * step + random.uniform(0, period)
    seen, whole = wave(coefficients), full_scale(2 * float(np.abs(wave(coefficients)).max()))
    late = random.normal(0, 0.5e-9, int(times[-1] / period) + 1)[(times / period).astype(int)]
    volts = np.interp((times - late) / period % 1, np.arange(seen.size + 1) / seen.size, np.append(seen, seen[0]))
    codes = np.round((volts + random.normal(0, NOISE * whole, times.size)) / whole * LEVELS)
    codes = np.clip(codes, -LEVELS // 2, LEVELS // 2 - 1)
    head = ["# Quay recorder (invented)", "# Coupling: AC", "# Probe: 1x", f"# Bandwidth: {bandwidth / 1e6:g} MHz"]
    head += [f"# Full scale: {whole:g} V", f"# Sample interval: {step * 1e9:.6g} ns", "CH1 [mV]"]
    return "\n".join(head + [f"{code * whole / LEVELS * 1e3:.6g}" for code in codes]) + "\n"
