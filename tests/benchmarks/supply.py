"""How long a plug takes, a thousand of them with tolerances on two processes, and a bank's page."""

from __future__ import annotations

import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from time import perf_counter, process_time

import numpy as np

from filterlib import load_design
from filterlib.analysis.hold_up.burst_review import bursts
from filterlib.analysis.supply.hot_plug import falling, plug
from filterlib.analysis.supply.supply_result import Added, Input
from filterlib.network.nonlinear.bend import clamp
from filterlib.parts.tables import data_folder
from filterlib.show.bank.bank_page import write_bank
from filterlib.system.line.battery_side import Battery, BatterySide, Fuse, SupplyWire, Switch
from tests.benchmarks.engine import Row, unit

VOLTS, MANY = 24.0, 1000
CLAMP = Added(clamp=clamp(36.0, 0.2))  # a suppressor: a diode that bends


def toleranced(seed: int) -> float:
    """Peak [V] of a plug into a class 2 ceramic whose capacitance, ESR and wire are drawn: 20 %, a factor of 2, 30 %."""
    rng = np.random.default_rng(seed)
    size, ohms, length = 10e-6 * rng.uniform(0.8, 1.2), 10e-3 * 2 ** rng.uniform(-1, 1), 2.0 * rng.uniform(0.7, 1.3)
    side = BatterySide(Battery(), SupplyWire(length=length), Fuse(), Switch())
    return plug(side, (Input("C", falling(size, VOLTS), ohms),), VOLTS, CLAMP).peak_voltage


def rows() -> list[Row]:
    """The table. Ratio: of one plug and of the page in units; of many, time a plug over that of one."""
    times = []
    for seed in range(20):
        start = process_time()
        toleranced(seed)
        times.append(process_time() - start)
    one = float(np.median(times))
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        list(pool.map(toleranced, range(2)))  # both have imported all
        start = perf_counter()
        peaks = list(pool.map(toleranced, range(MANY), chunksize=25))
        many = perf_counter() - start
    assert len(set(peaks)) == MANY
    design = load_design(data_folder() / "designs" / "tide-gauge-transmitting.toml")
    start = process_time()
    with tempfile.TemporaryDirectory() as folder:
        write_bank(design, bursts(design), folder)
    page = process_time() - start
    return [
        Row("plug into a class 2 ceramic with a suppressor", one, one / unit(), "at most 20 ms"),
        Row(f"{MANY} of them with tolerances, two processes", many, many / MANY / one, "at most 20 s"),
        Row("a bank's page, in units", page, page / unit(), "at most 2 s"),
    ]
