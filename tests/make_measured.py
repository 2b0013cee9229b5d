"""Makes the invented measurements of data/parts/measured: what an impedance analyser and a network analyser would show.

Run it from the folder that holds the repository's pyproject.toml: ``python tests/make_measured.py``. It gives the same
files every time.

The networks here are not those that the library fits: windings and electrodes are distributed lines, the dielectric has
a constant loss angle, cores and conductors let the field diffuse (square roots of frequency). Each curve is then read off with
the error of a pencil, or measured with the noise of an analyser.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent.parent / "data" / "parts" / "measured"
REFERENCE = 50.0  # [ohm]


def diffused(s: np.ndarray, corner: float) -> np.ndarray:
    """What is left of an inductance when its field has to diffuse into laminations or grains: 1 below ``corner`` [Hz]."""
    root = np.sqrt(s / (2 * np.pi * corner))
    return np.tanh(root) / root


def skin(s: np.ndarray, resistance: float, corner: float) -> np.ndarray:
    """A conductor whose current crowds to its skin above ``corner`` [Hz], [ohm]."""
    return resistance * np.sqrt(1 + s / (2 * np.pi * corner))


def open_line(s: np.ndarray, farads: float, ohms: float, henries: float, loss_angle: float) -> np.ndarray:
    """Electrodes fed at one end: a line of series R and L and of a dielectric with a constant loss angle, open at the end."""
    dielectric = s * farads * (s / (2 * np.pi * 1e3)) ** (-2 * loss_angle / np.pi)
    series = ohms + s * henries
    return np.sqrt(series / dielectric) / np.tanh(np.sqrt(series * dielectric))


def winding(
    s: np.ndarray, henries: float, core: float, turns: tuple[float, ...], farads: float, ohms: float
) -> np.ndarray:
    """A winding in layers of unequal shares, each with its capacitance and its copper, on a core with the corner ``core`` [Hz]."""
    total = np.zeros_like(s)
    for share in turns:
        layer = s * henries * share * diffused(s, core) + skin(s, ohms * share, 2e4)
        total += 1 / (1 / layer + 1 / (25.0 + 1 / (s * farads / share)))
    return total


def film(f: np.ndarray) -> np.ndarray:
    s = 2j * np.pi * f
    return open_line(s, 0.47e-6, 30e-3, 0.6e-9, 0.004) + skin(s, 4e-3, 5e5) + s * 9e-9


def choke(f: np.ndarray) -> np.ndarray:
    s = 2j * np.pi * f
    return winding(s, 22e-6, 3e6, (0.55, 0.3, 0.15), 9e-12, 0.035) + s * 12e-9


def bead(f: np.ndarray) -> np.ndarray:
    s = 2j * np.pi * f
    return winding(s, 1.5e-6, 8e6, (0.7, 0.3), 1.2e-12, 0.012) + s * 4e-9


def ceramic(f: np.ndarray) -> np.ndarray:
    s = 2j * np.pi * f
    return open_line(s, 1e-6, 12e-3, 0.1e-9, 0.02) + skin(s, 2e-3, 2e6) + s * 0.8e-9


def digitised(z: np.ndarray, seed: int) -> np.ndarray:
    """|Z| as read off a printed curve: within about a percent."""
    return np.abs(z) * np.exp(np.random.default_rng(seed).normal(0.0, 0.008, z.size))


def noisy(s: np.ndarray, seed: int, noise: float) -> np.ndarray:
    """Scattering parameters with an analyser's noise, rms of each."""
    wrong = np.random.default_rng(seed).normal(0.0, noise / np.sqrt(2), (*s.shape, 2))
    return s + wrong[..., 0] + 1j * wrong[..., 1]


def curve(lines: list[str], columns: list[np.ndarray], separator: str, decimal: str) -> str:
    rows = (separator.join(f"{value:.4g}".replace(".", decimal) for value in row) for row in zip(*columns, strict=True))
    return "\n".join([*lines, *rows]) + "\n"


def touchstone(lines: list[str], f: np.ndarray, values: list[np.ndarray]) -> str:
    """Real and imaginary parts over frequency in MHz."""
    rows = []
    for place, frequency in enumerate(f):
        pairs = (f"{one[place].real:.7f} {one[place].imag:.7f}" for one in values)
        rows.append(f"{frequency / 1e6:.7g} {' '.join(pairs)}")
    return "\n".join([*(f"! {line}" for line in lines), f"# MHz S RI R {REFERENCE:g}", *rows]) + "\n"


def files() -> dict[str, str]:
    """Name and content of every file."""
    read_off, swept = np.geomspace(2e3, 5e7, 64), np.geomspace(1e5, 3e8, 201)
    across = ceramic(swept)
    through, back = 2 * across / (2 * across + REFERENCE), -REFERENCE / (2 * across + REFERENCE)
    shunt = [noisy(one, seed, 1e-5) for seed, one in enumerate((back, through, through, back), start=5)]
    reflected = noisy((bead(swept) - REFERENCE) / (bead(swept) + REFERENCE), 4, 2e-4)
    with_phase = choke(read_off)
    return {
        "film-470n.csv": curve(
            ["Film capacitor 470 nF (invented), read off a printed curve", "frequency [kHz];|Z| [mohm]"],
            [read_off / 1e3, digitised(film(read_off), 1) * 1e3], ";", ",",
        ),
        "choke-22u.csv": curve(
            ["Choke 22 uH (invented), impedance analyser, no direct current", "frequency [Hz],|Z| [ohm],phase [deg]"],
            [read_off, digitised(with_phase, 2), np.angle(with_phase, deg=True)], ",", ".",
        ),
        "bead-1u5.s1p": touchstone(["Bead 1.5 uH (invented), reflection, no direct current"], swept, [reflected]),
        "ceramic-1u0.s2p": touchstone(["Ceramic capacitor 1 uF (invented), shunt-through, no bias"], swept, shunt),
    }  # fmt: skip


def main() -> int:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, content in files().items():
        (FOLDER / name).write_text(content, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
