"""What each converter of the population does: its drive, its bank, its lead, its chassis, and what stands behind it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from tests.calibration import scope
from tests.calibration.network import Network, burst, polyline
from tests.calibration.population import (
    LEAST_RIPPLE,
    MOST_RIPPLE,
    TOPOLOGIES,
    Branch,
    Capacitor,
    Choke,
    Converter,
    Draw,
    Filter,
    Load,
    Series,
    converter,
    filter_for,
    load_for,
)  # fmt: skip

TOP = 250e6  # [Hz] highest harmonic
MU = 4e-7 * np.pi
COPPER = 1.72e-8  # [ohm m]
BRIDGE = 1e3  # [Hz] at which a bridge reads the capacitance of a part


@dataclass(frozen=True)
class Case:
    """One converter with its filter and its load; ``order`` of the scope's limit."""

    number: int
    seed: int
    converter: Converter
    filter: Filter
    load: Load
    order: int

    @cached_property
    def frequencies(self) -> np.ndarray:
        return self.converter.base * np.arange(1, int(TOP / self.converter.base) + 1)

    def limited(self, harmonics: np.ndarray) -> np.ndarray:
        """As behind 20 MHz."""
        return harmonics * scope.limited(self.frequencies, 20e6, self.order)

    def wide(self, harmonics: np.ndarray) -> np.ndarray:
        """As a scope of 200 MHz shows it."""
        return harmonics * scope.limited(self.frequencies, 200e6, 1)

    @cached_property
    def ring_scale(self) -> float:
        """With which the ring alone is what was drawn of the ripple alone."""
        if self.converter.ring is None:
            return 0.0
        alone = scope.peak_to_peak(self.wide(bare(self, ripple=0.0, ring=1.0)))
        ripple = scope.peak_to_peak(self.limited(bare(self, ripple=1.0, ring=0.0)))
        return self.converter.ring.ratio * ripple / alone

    @cached_property
    def terminals(self) -> np.ndarray:
        """Harmonics [V] at the bare terminals."""
        return bare(self, ripple=1.0, ring=self.ring_scale)

    @cached_property
    def with_capacitor(self) -> np.ndarray:
        """The same with one of the filter's first capacitor across them."""
        return bare(self, ripple=1.0, ring=self.ring_scale, across=self.filter.first)

    @cached_property
    def truth(self) -> float:
        """Peak to peak at the load in 20 MHz [V]."""
        return scope.peak_to_peak(self.limited(behind(self)))

    def inner(self, frequencies: np.ndarray) -> np.ndarray:
        """What a bridge sees at the terminals [ohm]: the bank and its lead, nothing driven."""
        net = Network(frequencies)
        _banks(net, self.converter)
        net.push("minus", "plus", np.ones(frequencies.size))
        volts = net.voltages()
        return volts["plus"] - volts["minus"]

    def bridged(self, part: Capacitor) -> tuple[float, float]:
        """Capacitance [F] and resistance [ohm] of a capacitor, as a bridge reads them at the ripple's frequency, its inductance taken away."""
        at = Network(np.array([self.converter.frequency]))
        body = part_impedance(at, part)[0] - at.s[0] * (part.true.esl + part.loop)
        return float(-1 / (at.s[0].imag * body.imag)), float(body.real)


@lru_cache(maxsize=4)
def case(seed: int, number: int) -> Case:
    """The one of that number: topologies in turn; drawn again where its ripple is not of a usual size."""
    topology = TOPOLOGIES[:5][number % 6] if number % 6 < 5 else TOPOLOGIES[5 + number // 6 % 2]
    draw = Draw(seed, number)
    while True:
        one = converter(draw, topology)
        filter = filter_for(draw, one)
        made = Case(number, seed, one, filter, load_for(draw, one, filter), draw.one(1, 2))
        ripple = scope.peak_to_peak(made.limited(made.terminals))
        if LEAST_RIPPLE < ripple < MOST_RIPPLE * one.output_voltage:
            return made


def bare(case: Case, *, ripple: float, ring: float, across: Capacitor | None = None) -> np.ndarray:
    """Harmonics [V] at the terminals, an electronic load on its own leads there, and a capacitor across where one is given."""
    net = _driven(case, ripple, ring)
    ohms = case.converter.output_voltage / case.converter.current
    net.branch("plus", "minus", ohms + net.inductance(0.6e-6))
    if across is not None:
        net.branch("plus", "minus", part_impedance(net, across))
    volts = net.voltages()
    return volts["plus"] - volts["minus"]


def behind(case: Case) -> np.ndarray:
    """Harmonics [V] at the load, the filter in place."""
    net = _driven(case, 1.0, case.ring_scale)
    common = case.filter.choke.kind == "common_mode_choke"
    _filter(net, case.filter, "out_return" if common else "minus")
    _load(net, case, "out_return" if common else "minus")
    volts = net.voltages()
    return volts["load"] - volts["load_return"]


def _driven(case: Case, ripple: float, ring: float) -> Network:
    """The converter to its terminals, with everything in it that drives."""
    net, c = Network(case.frequencies), case.converter
    first, lead = None, None
    if c.ring is not None and ring:
        force = ring * bursts(net.frequencies, c)
        if c.ring.place == "current":
            net.push("0", "bank1", force)
        elif c.ring.place == "lead":
            lead = force
        else:
            first = force
    _banks(net, c, first, lead)
    (_diode if c.shape == "pulse" else _inductor)(net, c, ripple)
    if c.chassis is not None:
        _chassis(net, c, ripple)
    return net


def bursts(frequencies: np.ndarray, c: Converter) -> np.ndarray:
    """Both of a period; a half bridge has four."""
    assert c.ring is not None
    period, built = 1 / c.base, np.sinc(frequencies * 0.25 / c.ring.frequencies[0])
    total = np.zeros(frequencies.size, complex)
    for half in range(round(c.frequency / c.base)):
        starts = half / c.frequency, (half + c.duty) / c.frequency
        for start, size, frequency, cycles in zip(
            starts, (1.0, c.ring.second), c.ring.frequencies, c.ring.cycles, strict=True
        ):
            total += size * burst(frequencies, period, start, frequency, cycles)
    return total * built


def _banks(net: Network, c: Converter, first: np.ndarray | None = None, lead: np.ndarray | None = None) -> None:
    """Branches along their tracks, a second choke with its bank, and the lead, to "plus" and "minus"."""
    at = _bank(net, c.bank, c.tracks, "bank", first)
    if c.second_choke is not None:
        net.branch(at, "again1", _choke_impedance(net, c.second_choke, 8e-12, 900.0))
        at = _bank(net, c.second_bank, (Series(3e-9, 1e-3),) * (len(c.second_bank) - 1), "again", None)
    if lead is not None:
        net.branch(at, "driven", 1e-6 + 0 * net.s, lead)
        at = "driven"
    net.line(at, "plus", c.lead_share * c.lead.inductance, c.lead.resistance / 2, 3)
    net.line("0", "minus", (1 - c.lead_share) * c.lead.inductance, c.lead.resistance / 2, 2)


def _bank(
    net: Network, branches: tuple[Branch, ...], tracks: tuple[Series, ...], name: str, force: np.ndarray | None
) -> str:
    """Its last node; ``force`` acts in the first branch."""
    for n, branch in enumerate(branches, start=1):
        net.branch(f"{name}{n}", "0", branch_impedance(net, branch), force if n == 1 else None)
    for n, track in enumerate(tracks, start=1):
        net.branch(f"{name}{n}", f"{name}{n + 1}", net.inductance(track.inductance, track.resistance))
    return f"{name}{len(branches)}"


def branch_impedance(net: Network, branch: Branch) -> np.ndarray:
    """C, ESR and ESL in series, and the part of an electrolyte's resistance that its own capacitance bridges [ohm]."""
    slow = branch.slow / (1 + net.s * branch.slow * branch.corner)
    return branch.esr + slow + net.inductance(branch.esl) + 1 / (net.s * branch.capacitance)


def part_impedance(net: Network, part: Capacitor, *, loop: bool = True) -> np.ndarray:
    """Of a capacitor of the filter or the load, with its mounting and the losses of its dielectric [ohm].

    A loss angle that is the same at all frequencies makes the capacitance fall as f**(-2 angle / pi), from where a bridge reads it:
    A. K. Jonscher, Dielectric Relaxation in Solids (1983), from memory; else it would answer before it is asked.
    """
    true = part.true
    dielectric = (net.s / (2j * np.pi * BRIDGE)) ** (2 / np.pi * part.loss) / (net.s * true.capacitance)
    return true.esr + net.s * (true.esl + loop * part.loop) + dielectric


def _choke_impedance(net: Network, winding: Series, across: float, loss: float) -> np.ndarray:
    return 1 / (1 / (winding.resistance + net.s * winding.inductance) + net.s * across + 1 / loss)


def _inductor(net: Network, c: Converter, scale: float) -> None:
    """The switching node behind the output inductor, its winding capacitance and core loss across it."""
    inductance = c.output_voltage * (1 - c.duty) / (c.frequency * c.swing * c.current)
    loss = 25 * 2 * np.pi * c.frequency * inductance
    impedance = _choke_impedance(net, Series(inductance, 10e-3), c.winding, loss)
    net.branch("0", "bank1", impedance, scale * node(net.frequencies, c, c.output_voltage / c.duty))


def node(frequencies: np.ndarray, c: Converter, volts: float) -> np.ndarray:
    """Harmonics of the switching node [V]: up at 0, down after the duty; a half bridge's second pulse is unlike."""
    period, (rise, fall) = 1 / c.base, c.edges
    times, values = [], []
    for half in range(round(c.frequency / c.base)):
        height = volts * (1 + (0.5 - half) * c.unlike)
        start = half / c.frequency
        times += [start, start + rise, start + c.duty / c.frequency, start + c.duty / c.frequency + fall]
        values += [0.0, height, height, 0.0]
    return polyline(frequencies, period, times, values)


def _diode(net: Network, c: Converter, scale: float) -> None:
    net.push("0", "bank1", scale * diode_current(net.frequencies, c))


def diode_current(frequencies: np.ndarray, c: Converter) -> np.ndarray:
    """Harmonics of the diode's current [A]: it carries the load's. From the end of the duty it falls by ``swing``.

    Where it would fall by more than 0.92 it ends early, and stays at 0: discontinuous.
    """
    period, (rise, fall) = 1 / c.frequency, c.edges
    width = (1 - c.duty) * period - fall
    if c.swing > 0.92:
        width *= 0.4 + 0.5 * (1 - c.swing) / 0.08
    end = 0.0 if c.swing > 0.92 else 1 - c.swing
    peak = c.current * period / (width * (1 + end) / 2)
    start = c.duty * period
    times = [start, start + rise, start + width, start + width + fall]
    values = [0.0, peak, end * peak, 0.0]
    if c.recovery and end:
        times = [*times[:3], times[3], times[3] + 0.5 * fall, times[3] + 2 * fall]
        values = [*values[:3], 0.0, -c.recovery * end * peak, 0.0]
    return polyline(frequencies, period, times, values)


def _chassis(net: Network, c: Converter, scale: float) -> None:
    """Isolated, the input swings and its cable is the strap; else the output's return is strapped itself."""
    assert c.chassis is not None
    way = c.chassis.loss + 1 / (net.s * c.chassis.coupling)
    force = scale * node(net.frequencies, c, c.node_swing)
    strap = net.inductance(c.chassis.strap.inductance, c.chassis.strap.resistance)
    net.branch("input" if c.isolated else "minus", "chassis", strap)
    net.branch(*(("input", "minus") if c.isolated else ("minus", "chassis")), way, force)


def _filter(net: Network, filter: Filter, ground: str) -> None:
    """Both capacitors with their mutual inductance, and the choke between them."""
    first, second = (part_impedance(net, one) for one in (filter.first, filter.second))
    mutual = net.s * filter.mutual
    both = np.stack([np.stack([first, mutual], -1), np.stack([mutual, second], -1)], -2)
    net.coupled([("plus", "minus"), ("out", ground)], both)
    if filter.choke.common:
        _common_mode_choke(net, filter.choke)
    else:
        net.branch(
            "plus", "out", _choke_impedance(net, filter.choke.true, filter.choke.across[1], filter.choke.loss[1])
        )


def _common_mode_choke(net: Network, choke: Choke) -> None:
    """Two windings: a magnetising branch that both share, relaxing at 1 MHz, and a leakage each."""
    core = net.s * choke.common / (1 + net.s / (2 * np.pi * 1e6))
    stray = [net.s * choke.true.inductance / 2 * (1 + sign * choke.unlike[0] / 2) for sign in (1, -1)]
    own = [choke.true.resistance + 1 / (1 / one + 1 / choke.loss[1]) + core for one in stray]
    matrix = np.stack([np.stack([own[0], core], -1), np.stack([core, own[1]], -1)], -2)
    net.coupled([("plus", "out"), ("minus", "out_return")], matrix)
    for ends, sign in ((("plus", "out"), 1), (("minus", "out_return"), -1)):
        net.branch(*ends, 1 / (net.s * choke.across[1] * (1 + sign * choke.unlike[1] / 2)))


def _load(net: Network, case: Case, ground: str) -> None:
    """The pair of wires, the load's capacitor, what it draws, and its way to the chassis."""
    load, c = case.load, case.converter
    net.coupled([("out", "load"), (ground, "load_return")], _pair(net, load))
    ohms = c.output_voltage / c.current
    if load.kind == "resistive":
        net.branch("load", "load_return", ohms + 0 * net.s)
    elif load.kind == "constant_power":
        net.branch("load", "load_return", -ohms * (1 + 1j * net.frequencies / load.loop_bandwidth))
    if load.capacitor is not None:
        net.branch("load", "load_return", part_impedance(net, load.capacitor))
    if c.chassis is not None:
        bond = c.chassis.load_bond
        way = 15.0 + 1 / (net.s * c.chassis.stray) if bond is None else net.inductance(bond.inductance, bond.resistance)
        net.branch("load_return", "chassis", way)


def _pair(net: Network, load: Load) -> np.ndarray:
    """Partial inductances of two straight round wires and their mutual one, by Rosa (1908), from memory.

    Inside a wire R sqrt(1 + s mu r**2 / (4 rho)): the resistance and inductance of direct current, and the skin's far above.
    """
    length, radius = load.true_length, np.sqrt(load.section / np.pi)
    own = MU / (2 * np.pi) * length * (np.log(2 * length / radius) - 1)
    ratio = load.spacing / length
    mutual = MU / (2 * np.pi) * length * (np.arcsinh(1 / ratio) - np.sqrt(1 + ratio**2) + ratio)
    inside = COPPER * length / load.section * np.sqrt(1 + net.s * MU * radius**2 / (4 * COPPER))
    one, two = (inside + net.s * own * (1 + sign * load.unlike / 2) for sign in (1, -1))
    across = net.s * mutual
    return np.stack([np.stack([one, across], -1), np.stack([across, two], -1)], -2)
