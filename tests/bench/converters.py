"""Seven converters that are not the library's own, and what a scope shows at their terminals; numpy alone.

Harmonic by harmonic in steady state: a switching current into a bank of unequal branches, in one of them a second coil and
capacitor behind it, a lead, a load, and whatever is put across the terminals. The scope limits at 20 MHz (first order),
has 8 bits and noise of its own, and begins anywhere in the period. All values are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TOP = 120e6  # highest harmonic [Hz]
BANDWIDTH = 20e6
PERIODS = 100


@dataclass(frozen=True)
class Branch:
    """C, R and L in series."""

    farads: float
    ohms: float
    henries: float

    def impedance(self, s):
        return self.ohms + s * self.henries + 1 / (s * self.farads)


def parallel(s, branches):
    return 1 / sum(1 / one.impedance(s) for one in branches)


@dataclass(frozen=True)
class Plant:
    """``shape``: of the switching current, "triangle" or "pulse" with its ``slope`` as a share; ``ring``: [Hz], cycles, share."""

    name: str
    frequency: float
    volts: float
    amperes: float
    shape: str
    duty: float
    bank: tuple[Branch, ...]
    lead: tuple[float, float]  # [H], [ohm]
    test: Branch
    ripple: float = 0.3  # of a triangle, as a share of the load's current
    slope: float = 0.3
    edge: float = 40e-9
    ring: tuple[float, float, float] | None = None
    second: tuple[Branch, ...] = ()  # capacitors behind a second coil
    coil: tuple[float, float] = (0.0, 0.0)  # of it: [H], [ohm]
    skin: float = 0.0  # of the lead's resistance, times its square root of f over 1 MHz

    @property
    def orders(self):
        return np.arange(1, int(TOP / self.frequency) + 1)

    @property
    def s(self):
        return 2j * np.pi * self.frequency * self.orders

    def current(self):
        """Fourier coefficients of what is pushed into the bank [A]."""
        points = 2 ** int(np.ceil(np.log2(16 * self.orders[-1])))
        t = np.arange(points) / points
        if self.shape == "triangle":
            size, d = self.ripple * self.amperes, self.duty
            wave = size * np.where(t < d, t / d, (1 - t) / (1 - d))
        else:
            on, size = t >= self.duty, self.amperes / (1 - self.duty)
            wave = on * size * (1 + self.slope * (0.5 - (t - self.duty) / (1 - self.duty)))
        if self.ring:
            f, cycles, share = self.ring
            after = np.mod(t - self.duty, 1) / self.frequency
            wave = wave + share * self.amperes * np.exp(-after * f / cycles) * np.sin(2 * np.pi * f * after)
        c = np.fft.rfft(wave)[self.orders] / points
        return c * np.sinc(self.orders * self.edge * self.frequency)

    def inside(self):
        """Electromotive force [V] and impedance [ohm] at the terminals."""
        s, z = self.s, parallel(self.s, self.bank)
        emf = z * self.current()
        if self.second:
            behind, coil = parallel(s, self.second), self.coil[1] + s * self.coil[0]
            emf, z = emf * behind / (behind + coil + z), 1 / (1 / behind + 1 / (coil + z))
        lead = self.lead[1] + self.skin * np.sqrt(np.abs(s) / 2e6 / np.pi) + s * self.lead[0]
        return emf, z + lead

    def terminals(self, across=None):
        """Harmonics [V] there, with the load and ``across`` [ohm]."""
        emf, z = self.inside()
        y = self.amperes / self.volts + 1e-6 + (0 if across is None else 1 / across)
        return emf / (1 + z * y)

    def behind(self, filter_, emf=None, z=None):
        """Harmonics [V] at the load behind a pi filter of branch, (L, R), branch."""
        if emf is None:
            emf, z = self.inside()
        first, (henries, ohms), last = filter_
        s = self.s[: emf.shape[-1]]
        y1, choke = 1 / first.impedance(s), ohms + s * henries
        y2 = 1 / last.impedance(s) + self.amperes / self.volts
        into = y1 + 1 / (choke + 1 / y2)
        return emf / (1 + z * into) / (1 + choke * y2)

    def pi(self):
        """The filter that stands behind it: its first capacitor is the test capacitor."""
        return self.test, (2.2e-6, 15e-3), Branch(47e-6, 30e-3, 8e-9)

    def recorded(self, harmonics, rng, interval=10e-9):
        """Samples [V] and interval [s] of 100 periods: 20 MHz, 8 bits, from anywhere in the period."""
        limited = harmonics / (1 + 1j * self.frequency * self.orders / BANDWIDTH)
        times = interval * np.arange(int(PERIODS / self.frequency / interval)) + rng.uniform(0, 1 / self.frequency)
        wave = at(self.frequency, limited, times)
        full = 1.25 * np.ptp(wave) * rng.uniform(1, 1.6)
        step = full / 256
        noisy = wave + rng.normal(0, 0.6 * step, wave.size)
        return np.round(noisy / step) * step, interval


def at(frequency, harmonics, times):
    """The periodic wave at any times, from a fine even period by cubic interpolation."""
    points = 2 ** int(np.ceil(np.log2(16 * len(harmonics))))
    even = np.fft.irfft(np.concatenate([[0], harmonics]), points) * points
    x = np.mod(times * frequency, 1) * points
    n, u = x.astype(int), x % 1
    a, b, c, d = (even[(n + k) % points] for k in (-1, 0, 1, 2))
    return b + u * (c - a + u * (2 * a - 5 * b + 4 * c - d + u * (3 * (b - c) + d - a))) / 2


def in_20mhz(plant, harmonics):
    """Peak to peak [V] as a scope's 20 MHz limit shows it, of (h,) or (designs, h)."""
    count = harmonics.shape[-1]
    limited = harmonics / (1 + 1j * plant.frequency * plant.orders[:count] / BANDWIDTH)
    points = 2 ** int(np.ceil(np.log2(16 * count)))
    return np.ptp(np.fft.irfft(np.concatenate([0 * limited[..., :1], limited], axis=-1), points) * points, axis=-1)


PLANTS = (
    Plant("boost", 250e3, 28, 3.0, "pulse", 0.45,
          (Branch(10e-6, 3e-3, 1.2e-9), Branch(150e-6, 35e-3, 6e-9)), (14e-9, 2e-3), Branch(22e-6, 8e-3, 6e-9)),
    Plant("buck", 400e3, 12, 5.0, "triangle", 0.5,
          (Branch(40e-6, 2e-3, 0.8e-9), Branch(220e-6, 12e-3, 3e-9)), (9e-9, 1e-3), Branch(22e-6, 3e-3, 4e-9)),
    Plant("flyback", 66e3, 24, 2.0, "pulse", 0.4,
          (Branch(470e-6, 45e-3, 9e-9), Branch(1e-6, 8e-3, 2e-9)), (30e-9, 4e-3), Branch(100e-6, 40e-3, 10e-9),
          slope=1.9, ring=(8e6, 3.0, 0.3)),
    Plant("flyback, second LC", 100e3, 24, 2.5, "pulse", 0.42,
          (Branch(330e-6, 40e-3, 8e-9), Branch(4.7e-6, 5e-3, 1.5e-9)), (20e-9, 3e-3), Branch(47e-6, 25e-3, 8e-9),
          slope=1.9, second=(Branch(100e-6, 60e-3, 7e-9), Branch(0.47e-6, 10e-3, 1.5e-9)), coil=(1.5e-6, 8e-3)),
    Plant("low cost", 52e3, 15, 1.0, "pulse", 0.35,
          (Branch(220e-6, 120e-3, 12e-9),), (45e-9, 6e-3), Branch(47e-6, 60e-3, 10e-9),
          slope=1.6, edge=60e-9, ring=(14e6, 4.0, 0.6)),
    Plant("forward", 120e3, 24, 6.0, "triangle", 0.38,
          (Branch(680e-6, 18e-3, 7e-9), Branch(330e-6, 30e-3, 9e-9), Branch(2.2e-6, 6e-3, 1.5e-9)),
          (18e-9, 2e-3), Branch(68e-6, 12e-3, 8e-9), ring=(6e6, 2.0, 0.05)),
    Plant("1.2 MHz buck", 1.2e6, 5, 3.0, "triangle", 0.42,
          (Branch(22e-6, 2e-3, 0.5e-9), Branch(1e-6, 6e-3, 0.4e-9), Branch(47e-6, 5e-3, 1.0e-9)),
          (5e-9, 1e-3), Branch(10e-6, 3e-3, 1.2e-9), edge=8e-9),
)  # fmt: skip
