"""Makes the invented recordings of data/recordings: what a scope would show at the tide gauge's two converters.

Run it from the folder that holds the repository's pyproject.toml: ``python tests/make_recordings.py``. It gives the
same files every time.

The circuits here share nothing with the library and are not its models: node voltages and inductor currents in the
time domain, capacitor banks of three unequal branches behind their traces, leads in several sections, both conductors,
and an imbalance between them that no design file states. The brick is a flyback converter, whose diode current is a
falling ramp, while its design file only says "pulse".
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.linalg import expm

STEPS = 8192  # of one period, in time
TRACE = 5e-12  # [F] of each node to the converter's return, as a pad and its track have
FOLDER = Path(__file__).parent.parent / "data" / "recordings"


class Network:
    """Nodes with a capacitance each, inductors with a resistance each, and currents pushed in; "0" is the reference."""

    def __init__(self) -> None:
        self.nodes: dict[str, int] = {}
        self.inductors: list[tuple[str, str, float, float]] = []
        self.mutuals: list[tuple[int, int, float]] = []
        self.capacitors: list[tuple[str, str, float]] = []
        self.resistors: list[tuple[str, str, float]] = []
        self.pushed: list[tuple[str, str, np.ndarray]] = []

    def row(self, a: str, b: str) -> np.ndarray:
        """+1 at node a, -1 at node b."""
        row = np.zeros(len(self.nodes))
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != "0":
                row[self.nodes[node]] = sign
        return row

    def node(self, *names: str) -> None:
        for name in names:
            if name != "0" and name not in self.nodes:
                self.nodes[name] = len(self.nodes)
                self.capacitors.append((name, "0", TRACE))

    def c(self, a: str, b: str, farads: float) -> None:
        self.node(a, b)
        self.capacitors.append((a, b, farads))

    def r(self, a: str, b: str, ohms: float) -> None:
        self.node(a, b)
        self.resistors.append((a, b, ohms))

    def l(self, a: str, b: str, henries: float, ohms: float) -> int:  # noqa: E743
        self.node(a, b)
        self.inductors.append((a, b, henries, ohms))
        return len(self.inductors) - 1

    def real_capacitor(self, a: str, b: str, farads: float, ohms: float, henries: float) -> None:
        inside = f"{a}|{b}|{farads:g}"
        self.l(a, inside, henries, ohms)
        self.c(inside, b, farads)

    def lead(self, a: str, b: str, henries: float, ohms: float, farads: float, sections: int) -> None:
        """A conductor in equal sections, with its capacitance to the converter's return."""
        stops = [a, *(f"{a}>{b}{n}" for n in range(1, sections)), b]
        for before, after in pairwise(stops):
            self.l(before, after, henries / sections, ohms / sections)
            self.r(before, after, 25.0)  # losses that grow with frequency
            self.c(after, "0", farads / sections)

    def push(self, a: str, b: str, amperes: np.ndarray) -> None:
        """One period of a current that flows into node a and out of node b."""
        self.node(a, b)
        self.pushed.append((a, b, amperes))

    def steady(self, period: float, a: str, b: str) -> np.ndarray:
        """One period of the voltage between two nodes when everything has settled, array (STEPS,), without its mean."""
        inverse, left, right = self._matrices()
        matrix = inverse @ left
        drive = inverse @ right
        wave = np.array([amperes for _, _, amperes in self.pushed])
        size, count = drive.shape
        step = period / STEPS
        zero = np.zeros((count, size))
        block = np.block(
            [
                [matrix * step, drive * step, np.zeros((size, count))],
                [zero, np.zeros((count, count)), np.eye(count)],
                [zero, np.zeros((count, 2 * count))],
            ]
        )
        exponential = expm(block)
        move, level, slope = np.split(exponential[:size], [size, size + count], axis=1)
        following = np.roll(wave, -1, axis=1)
        kicks = level @ wave + slope @ (following - wave)
        state = np.zeros(size)
        for n in range(STEPS):
            state = move @ state + kicks[:, n]
        state = np.linalg.solve(np.eye(size) - np.linalg.matrix_power(move, STEPS), state)
        seen = np.empty(STEPS)
        look = np.concatenate([self.row(a, b), np.zeros(size - len(self.nodes))])
        for n in range(STEPS):
            seen[n] = look @ state
            state = move @ state + kicks[:, n]
        return seen - seen.mean()

    def _matrices(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """M^-1, A and B of M dx/dt = A x + B i, for node voltages and inductor currents."""
        capacitance, conductance = (self._sum(parts, f) for parts, f in ((self.capacitors, 1), (self.resistors, -1)))
        incidence = np.array([self.row(a, b) for a, b, _, _ in self.inductors])
        inductance = np.diag([henries for _, _, henries, _ in self.inductors])
        for first, second, mutual in self.mutuals:
            inductance[first, second] = inductance[second, first] = mutual
        losses = np.diag([ohms for _, _, _, ohms in self.inductors])
        nodes, branches = len(self.nodes), len(self.inductors)
        left = np.block([[-conductance, -incidence.T], [incidence, -losses]])
        right = np.array([np.concatenate([self.row(a, b), np.zeros(branches)]) for a, b, _ in self.pushed]).T
        inverse = np.zeros((nodes + branches, nodes + branches))
        inverse[:nodes, :nodes] = np.linalg.inv(capacitance)
        inverse[nodes:, nodes:] = np.linalg.inv(inductance)
        return inverse, left, right

    def _sum(self, parts: list[tuple[str, str, float]], power: int) -> np.ndarray:
        total = np.zeros((len(self.nodes), len(self.nodes)))
        for a, b, value in parts:
            row = self.row(a, b)
            total += np.outer(row, row) * value**power
        return total


def phase() -> np.ndarray:
    return np.arange(STEPS) / STEPS


def corners(places: list[float], values: list[float]) -> np.ndarray:
    """One period in straight lines, array (STEPS,)."""
    return np.interp(phase(), [*places, 1 + places[0]], [*values, values[0]])


@dataclass(frozen=True)
class Plant:
    """One converter: its period, its currents by one scale, and the network behind them."""

    period: float
    aim: float  # peak to peak of the bare terminals in 20 MHz [V]
    order: int  # of that 20 MHz limit
    build: Callable[[Network, float], None]
    test_capacitor: tuple[float, float, float]

    def bare(self, scale: float, *, loaded: bool = False) -> np.ndarray:
        net = Network()
        self.build(net, scale)
        net.l("plus", "load", 0.4e-6, 7.4)
        net.l("load", "minus", 0.4e-6, 10e-3)
        if loaded:
            net.real_capacitor("plus", "minus", *self.test_capacitor)
        return net.steady(self.period, "plus", "minus")

    def filtered(self, scale: float, a: str = "modem", b: str = "modem_return", *, bridged: bool = False) -> np.ndarray:
        """With the demo filter, at the modem; the logger stands at "filtered", "filtered_return"."""
        net = Network()
        self.build(net, scale)
        demo_filter(net)
        if bridged:  # wire links of a first test, left across both windings of the choke
            net.l("plus", "filtered", 14e-9, 2e-3)
            net.l("minus", "filtered_return", 15e-9, 2e-3)
        return net.steady(self.period, a, b)

    def scale(self) -> float:
        """With which the bare terminals show the aim; the circuit is linear."""
        return self.aim / float(np.ptp(limited(self.bare(1.0), self.period, 20e6, self.order)))


def clean(net: Network, scale: float) -> None:
    """A step-down stage: 19.6 µF in three unequal branches, an output inductor's triangle, a small ring."""
    duty = 0.52
    net.push("bank1", "0", scale * corners([0, duty], [-0.5, 0.5]))
    net.l("bank1", "0", 0.25e-6, 16e-3)  # the regulator
    bank(net, [(8.4e-6, 16e-3, 8e-9), (7.1e-6, 15e-3, 7e-9), (4.1e-6, 24e-3, 9e-9)], (0.6e-9, 0.6e-3))
    hot_loop(net, scale * corners([0, 0.004, duty, duty + 0.004], [0, 28.0, 28.0, 0]) / 2.6, 2.2e-6, 3e-12, 150)
    net.lead("bank2", "plus", 11e-9, 0.9e-3, 4e-12, 4)
    net.lead("0", "minus", 7e-9, 0.7e-3, 3e-12, 3)
    chassis(net, 28.0 * 0.4e-12, duty)


def brick(net: Network, scale: float) -> None:
    """A flyback converter: 105 µF in three branches, the diode's falling ramp, and a strong ring at its edges."""
    duty = 0.46
    net.push("bank1", "0", scale * corners([0, duty, duty + 0.009, 0.991], [0, 0, 1, 0.08]))
    net.l("bank1", "0", 0.5e-6, 25e-3)
    bank(net, [(47e-6, 190e-3, 7e-9), (47e-6, 215e-3, 8e-9), (11e-6, 110e-3, 4e-9)], (0.8e-9, 1.0e-3))
    hot_loop(net, scale * corners([0, 0.0012, duty, duty + 0.0012], [0, 45.0, 45.0, 0]) / 14.5, 0.055e-6, 150e-12, 3)
    net.lead("bank2", "plus", 16e-9, 1.5e-3, 5e-12, 4)
    net.lead("0", "minus", 12e-9, 1.1e-3, 4e-12, 3)
    chassis(net, 28.0 * 55e-12, duty)


def bank(net: Network, branches: list[tuple[float, float, float]], trace: tuple[float, float]) -> None:
    """Three capacitors along a trace; the converter's current comes in at the first, the lead leaves from the second."""
    for n, branch in enumerate(branches, start=1):
        net.real_capacitor(f"bank{n}", "0", *branch)
        if n > 1:
            net.l(f"bank{n - 1}", f"bank{n}", *trace)


def hot_loop(net: Network, volts: np.ndarray, henries: float, farads: float, ohms: float) -> None:
    """The switching node's voltage, through stray inductance and the winding's capacitance, into the bank."""
    inside = 0.2
    net.push("switch", "0", volts / inside)
    net.r("switch", "0", inside)
    net.l("switch", "stray", henries, ohms)
    net.c("stray", "bank1", farads)


def chassis(net: Network, charge: float, duty: float) -> None:
    """The switching node's charge [C] goes to the cabinet in each edge; the battery's pole is bonded to it."""
    edge = 0.004
    rate = corners([0, edge / 2, edge, duty, duty + edge / 2, duty + edge], [0, 1.0, 0, 0, -1.0, 0])
    net.push("cabinet", "0", charge * rate / (0.5 * edge * 5.6e-6))
    net.c("cabinet", "0", 60e-12)
    net.l("cabinet", "0", 0.6e-6, 12e-3)
    net.r("cabinet", "0", 80.0)


def demo_filter(net: Network) -> None:
    """Capacitor, common-mode choke with windings that are not quite alike, capacitor, lead, modem and logger."""
    net.real_capacitor("plus", "minus", 1.27e-6, 6e-3, 4.6e-9)
    whole, first, second = 0.93e-3, 5.9e-6, 5.3e-6
    one = net.l("plus", "filtered", whole + first, 15e-3)
    two = net.l("minus", "filtered_return", whole + second, 14e-3)
    net.mutuals.append((one, two, whole))
    for a, b, ohms, farads in (("plus", "filtered", 6.4e3, 12e-12), ("minus", "filtered_return", 6.9e3, 9e-12)):
        net.r(a, b, ohms)
        net.c(a, b, farads)
    net.real_capacitor("filtered", "filtered_return", 1.31e-6, 5e-3, 5.4e-9)
    net.r("filtered", "filtered_return", 500.0)
    net.lead("filtered", "modem", 0.20e-6, 9e-3, 9e-12, 5)
    net.lead("filtered_return", "modem_return", 0.18e-6, 9.5e-3, 8e-12, 5)
    net.real_capacitor("modem", "modem_return", 45e-6, 0.36, 15e-9)
    net.l("modem_return", "cabinet", 0.15e-6, 8e-3)


def limited(wave: np.ndarray, period: float, bandwidth: float, order: int) -> np.ndarray:
    """One period behind a Butterworth limit of first or second order."""
    s = 1j * np.arange(STEPS // 2 + 1) / period / bandwidth
    gain = 1 / (1 + s) if order == 1 else 1 / (1 + np.sqrt(2) * s + s**2)
    return np.fft.irfft(np.fft.rfft(wave) * gain, STEPS)


@dataclass(frozen=True)
class Scope:
    """How one recording is taken and written."""

    interval: float
    samples: int
    bandwidth: float
    order: int
    full_scale: float
    noise: float
    jitter: float
    seed: int

    def codes(self, wave: np.ndarray, period: float) -> np.ndarray:
        """Levels of an 8-bit converter, array (samples,)."""
        random = np.random.default_rng(self.seed)
        times = self.interval * np.arange(self.samples) + random.uniform(0, period)
        nth = (times / period).astype(int)
        late = random.normal(0, self.jitter, nth[-1] + 1)
        turns = np.mod((times - late[nth]) / period, 1)
        padded = np.append(limited(wave, period, self.bandwidth, self.order), 0)
        padded[-1] = padded[0]
        volts = np.interp(turns * STEPS, np.arange(STEPS + 1), padded)
        volts = volts + random.normal(0, self.noise, volts.size)
        codes = np.round(volts / (self.full_scale / 256)).astype(int)
        if np.abs(codes).max() > 127:
            raise ValueError(f"{codes.min()} to {codes.max()} leave the range of the scope")
        return codes


def stated(scope: Scope, codes: np.ndarray, place: str) -> str:
    """Semicolons, decimal comma, one column of millivolts, the sample interval in the preamble."""
    step = scope.full_scale / 256 * 1e3
    lines = [
        "Quay recorder (invented)",
        f"Place;{place}",
        "Coupling;AC",
        "Probe factor;1:1",
        f"Bandwidth limit;{scope.bandwidth / 1e6:g} MHz",
        f"Full scale;{scope.full_scale * 1e3:g} mV".replace(".", ","),
        f"Sample interval;{scope.interval * 1e9:g};ns",
        "CH1 [mV]",
    ]
    rows = [f"{code * step:.3f}".replace(".", ",") for code in codes]
    return "\n".join(lines + rows) + "\n"


def timed(scope: Scope, codes: np.ndarray, place: str) -> str:
    """Commas, decimal point, time in microseconds and volts, units in a row of their own."""
    step = scope.full_scale / 256
    lines = [
        "# Harbour scope (invented)",
        f"# Place: {place}",
        "# Coupling: AC",
        "# Probe: 1x",
        f"# Bandwidth: {scope.bandwidth / 1e6:g} MHz",
        f"# Full scale: {scope.full_scale:g} V",
        "Time,CH1",
        "us,V",
    ]
    rows = [f"{n * scope.interval * 1e6:.3f},{code * step:.5g}" for n, code in enumerate(codes)]
    return "\n".join(lines + rows) + "\n"


PLANTS = {
    "clean": Plant(1 / 180.2e3, 0.110, 1, clean, (10.2e-6, 5e-3, 8e-9)),
    "brick": Plant(1 / 149.1e3, 0.750, 2, brick, (46e-6, 21e-3, 9e-9)),
}
SCALES = {"clean": (0.16, 0.01), "brick": (1.6, 0.2)}  # full scale at the terminals and at the modem [V]
ADDED = {"clean": "10 µF", "brick": "47 µF"}


def recordings() -> dict[str, str]:
    """Every file, by name."""
    made = {}
    for name, plant in PLANTS.items():
        scale, (terminals, modem) = plant.scale(), SCALES[name]
        views = {
            "terminals": (plant.bare(scale), terminals, "terminals of the converter, nothing added"),
            "terminals-with-capacitor": (
                plant.bare(scale, loaded=True),
                terminals,
                f"terminals of the converter, {ADDED[name]} across them",
            ),
            "modem": (plant.filtered(scale), modem, "input of the modem, behind the filter"),
        }
        if name == "clean":
            wave = plant.filtered(scale, bridged=True)
            views["modem-bridged"] = wave, terminals, "input of the modem, behind a board with a fault"
        for seed, (view, (wave, full_scale, place)) in enumerate(views.items(), start=11):
            scope = Scope(10e-9, 34_000, 20e6, plant.order, full_scale, full_scale / 400, 1.5e-9, seed)
            made[f"{name}-{view}.csv"] = stated(scope, scope.codes(wave, plant.period), place)
    fast, rough = Scope(2e-9, 17_000, 200e6, 1, 3.2, 6e-3, 1.5e-9, 14), PLANTS["brick"]
    codes = fast.codes(rough.bare(rough.scale()), rough.period)
    made["brick-terminals-full-bandwidth.csv"] = timed(fast, codes, "terminals of the converter, nothing added")
    return made


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in recordings().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="")
        sys.stdout.write(f"{name}: {len(text.encode()):,} bytes\n")


if __name__ == "__main__":
    main()
