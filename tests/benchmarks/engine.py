"""The engine's speed: a pi filter with all its parasitics, against dense LAPACK and against the ladder by hand.

Run with the BLAS threads pinned to one. Everything is in the time: assembly, elimination, guard. The dense way solves
the nodal equations (nodes, inductors and source as unknowns) with batched ``numpy.linalg.solve``; the hand-written way
multiplies out the ladder and guards nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from filterlib.network.circuit import Circuit

FREQUENCIES = np.geomspace(1e2, 1e8, 400)
DESIGNS = 1000
SOURCE, SERIES = (0.05, 80e-9), (20e-3, 10e-6)  # resistance [ohm] and inductance [H]
SHUNTS = ((1e-6, 8e-3, 6e-9), (2.2e-6, 5e-3, 4e-9))  # capacitance [F], resistance [ohm], inductance [H]
UNIT = 200_000  # systems
WINDING, CORE, LOAD = 8e-12, 3e3, 7.0  # winding capacitance [F], core loss [ohm], load [ohm]


class Row(NamedTuple):
    """One line of the table: what was measured, its time [s], a ratio, the aim as text, and memory above the start [B]."""

    what: str
    time: float
    ratio: float
    aim: str
    memory: float | None = None


def unit() -> float:
    """Processor time [s] of numpy's batched dense solution of 200,000 complex systems of 14 unknowns: what reviews are told in."""
    random = np.random.default_rng(1)
    a = random.standard_normal((UNIT, 14, 14)) + 1j * random.standard_normal((UNIT, 14, 14))
    b = random.standard_normal((UNIT, 14, 1)) + 0j
    times = []
    for _ in range(3):
        start = time.process_time()
        np.linalg.solve(a, b)
        times.append(time.process_time() - start)
    return min(times)


def circuit(scale: float | np.ndarray = 1.0) -> Circuit:
    """The filter; ``scale`` multiplies every capacitance and inductance but those of the leads."""
    made = Circuit().voltage_source("V", "emf", "0")
    made.resistor("Rs", "emf", "s", SOURCE[0]).inductor("Ls", "s", "n1", SOURCE[1])
    made.inductor("L", "n1", "l", SERIES[1] * scale).resistor("RL", "l", "n2", SERIES[0])
    made.capacitor("Cw", "n1", "n2", WINDING).resistor("Rp", "n1", "n2", CORE)
    for index, (farads, ohms, henries) in enumerate(SHUNTS, start=1):
        made.capacitor(f"C{index}", f"n{index}", f"c{index}", farads * scale)
        made.resistor(f"R{index}", f"c{index}", f"x{index}", ohms).inductor(f"L{index}", f"x{index}", "0", henries)
    return made.resistor("load", "n2", "0", LOAD)


def by_hand(scale: float | np.ndarray = 1.0) -> np.ndarray:
    """The ladder multiplied out from the load to the source."""
    s = 2j * np.pi * FREQUENCIES
    y1, y2 = (1 / (1 / (s * (c * scale)) + r + s * x) for c, r, x in SHUNTS)
    series = 1 / (1 / (SERIES[0] + s * (SERIES[1] * scale)) + s * WINDING + 1 / CORE)
    current = y2 + 1 / LOAD
    voltage = 1 + series * current
    current = current + y1 * voltage
    return 1 / (voltage + (SOURCE[0] + s * SOURCE[1]) * current)


def dense(scale: float | np.ndarray = 1.0) -> np.ndarray:
    """Nodal equations with the currents of inductors and source, by batched LAPACK, design by design."""
    g, still, moving, b, output = _nodal()
    s = 2j * np.pi * FREQUENCIES[:, None, None]
    answers = []
    for factor in np.ravel(scale):
        a = g + s * (still + moving * factor)
        answers.append(np.linalg.solve(a, b)[..., output, 0])
    return np.array(answers) if np.ndim(scale) else answers[0]


def _nodal() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, int]:
    """G, the part of C that is not scaled, the part that is, the right-hand side, and where the output stands."""
    elements = circuit().elements
    nodes = {node: i for i, node in enumerate(n for n in circuit().nodes if n != "0")}
    currents = [e.name for e in elements if e.kind in ("inductor", "voltage_source")]
    size = len(nodes) + len(currents)
    g, still, moving, b = np.zeros((size, size)), np.zeros((size, size)), np.zeros((size, size)), np.zeros((size, 1))
    for element in elements:
        stamp = np.zeros(size)
        for node, sign in zip(element.nodes, (1.0, -1.0), strict=True):
            if node != "0":
                stamp[nodes[node]] = sign
        target = moving if element.name in ("L", "C1", "C2") else still
        if element.name in currents:
            row = len(nodes) + currents.index(element.name)
            g[:, row] += stamp
            g[row] += stamp
            target[row, row] -= element.value or 0.0
            b[row] = element.kind == "voltage_source"
        elif element.kind == "capacitor":
            target += element.value * np.outer(stamp, stamp)
        else:
            g += np.outer(stamp, stamp) / element.value
    return g, still, moving, b, nodes["n2"]


def seconds(function: Callable[[], object], least: float = 0.4) -> float:
    """The shortest of several runs, after one to warm up [s]."""
    function()
    best, start = np.inf, time.perf_counter()
    while time.perf_counter() - start < least or best == np.inf:
        before = time.perf_counter()
        function()
        best = min(best, time.perf_counter() - before)
    return float(best)


def rows() -> list[Row]:
    """The table. Ratio: how many times slower than the engine (dense), or how many times faster (by hand)."""
    table = []
    for designs, aim in ((1, 10), (DESIGNS, 20)):
        scale = 1.0 if designs == 1 else np.random.default_rng(1).uniform(0.8, 1.2, (designs, 1))
        made = circuit(scale)
        engine = seconds(lambda made=made: made.transfer(FREQUENCIES, "V", "n2"))
        slow = seconds(lambda scale=scale: dense(scale))
        hand = seconds(lambda scale=scale: by_hand(scale))
        name = f"pi filter, {designs} design{'s' if designs > 1 else ''}, {len(FREQUENCIES)} frequencies"
        table.append(Row(f"{name}: engine", engine, 1.0, ""))
        table.append(Row(f"{name}: batched dense LAPACK", slow, slow / engine, f"at least {aim} times the engine"))
        table.append(Row(f"{name}: ladder by hand", hand, engine / hand, "engine at most 4 times slower"))
    return table
