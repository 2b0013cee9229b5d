"""A board whose converter switches in bursts, in the time domain, by the circuits of the invented recordings: nothing of it is the library's."""

import numpy as np

from filterlib.parts.tables import data_folder
from tests.make_recordings import PLANTS, STEPS, Network, Scope, bank, demo_filter, stated

T = 1 / 180.2e3
ASLEEP = """
[[operating_point]]
name = "asleep"
loads = { modem = "2 %", logger = "10 %" }
"""
DRAWN = 0.12  # [A] by 2 % of 84 W and a tenth of 0.6 A


def design(folder, more=""):
    """The clean demo with an operating point at which it draws 0.12 A, and lines for its converter."""
    text = (data_folder() / "designs" / "tide-gauge-clean.toml").read_text(encoding="utf-8")
    text = text.replace("[[requirement]]", ASLEEP + "\n[[requirement]]", 1).replace(
        "[[filter]]", more + "\n[[filter]]", 1
    )
    file = folder / "asleep.toml"
    file.write_text(text, encoding="utf-8")
    return file


def current(pulses, rests, drawn=DRAWN):
    """One period of triangles that carry ``drawn`` [A] in the mean, array (STEPS,) [A]; ``rests`` periods of pause behind them."""
    at = np.arange(STEPS) / STEPS * (pulses + rests)
    phase = at % 1
    one = np.where(at < pulses, np.minimum(phase / 0.52, (1 - phase) / 0.48), 0.0)
    return one * drawn / one.mean()


def wave(pulses, rests, *, filtered, drawn=DRAWN, bridged=False):
    """One period at the bare terminals with a resistor across, or at the modem; the regulation rests."""
    net = Network()
    net.push("bank1", "0", current(pulses, rests, drawn))
    bank(net, [(8.4e-6, 16e-3, 8e-9), (7.1e-6, 15e-3, 7e-9), (4.1e-6, 24e-3, 9e-9)], (0.6e-9, 0.6e-3))
    net.lead("bank2", "plus", 11e-9, 0.9e-3, 4e-12, 4)
    net.lead("0", "minus", 7e-9, 0.7e-3, 3e-12, 3)
    net.c("cabinet", "0", 60e-12)
    net.r("cabinet", "0", 80.0)
    period = (pulses + rests) * T
    if not filtered:
        net.l("plus", "load", 0.4e-6, 28 / drawn)
        net.l("load", "minus", 0.4e-6, 10e-3)
        return net.steady(period, "plus", "minus")
    demo_filter(net)
    if bridged:
        net.l("plus", "filtered", 14e-9, 2e-3)
        net.l("minus", "filtered_return", 15e-9, 2e-3)
    return net.steady(period, "modem", "modem_return")


def capture(folder, name, pulses, rests, *, load=None, **how):
    """A file as a scope writes it, and its peak to peak [V] without noise."""
    volts = wave(pulses, rests, **how)
    whole = 1.25 * 2 * float(np.abs(volts).max())
    scope = Scope(10e-9, 120_000, 20e6, 1, whole, whole / 500, 0.5e-9, 21)
    text = stated(scope, scope.codes(volts, (pulses + rests) * T), name)
    file = folder / f"{name}.csv"
    file.write_text(
        text if load is None else text.replace("Coupling;AC", f"Coupling;AC\nLoad current;{load} A"), encoding="utf-8"
    )
    return str(file), float(np.ptp(volts))


def louder_board(folder):
    """A capture at the modem of the clean demo, switching all the time, whose first capacitor is lost and whose choke is bridged by a wire
    that rings with the second: the modem has no capacitor of its own here."""
    plant = PLANTS["clean"]
    net = Network()
    plant.build(net, plant.scale())
    net.l("plus", "filtered", 0.15e-6, 2e-3)
    net.l("minus", "filtered_return", 0.15e-6, 2e-3)
    net.real_capacitor("filtered", "filtered_return", 1.31e-6, 5e-3, 5.4e-9)
    net.r("filtered", "filtered_return", 28 / 3.6)
    volts = net.steady(plant.period, "filtered", "filtered_return")
    whole = 1.25 * 2 * float(np.abs(volts).max())
    scope = Scope(10e-9, 34_000, 20e6, 1, whole, whole / 500, 0.5e-9, 22)
    file = folder / "louder.csv"
    file.write_text(stated(scope, scope.codes(volts, plant.period), "modem"), encoding="utf-8")
    return str(file)
