"""Certificates of stability of random circuits against ten thousand draws each, how long they take, and dampers over random tolerances."""

from __future__ import annotations

from time import perf_counter, process_time

import numpy as np

from filterlib import load_design
from filterlib.analysis.converter_side.converter_side import converter_side
from filterlib.analysis.damping.ideal import NETWORKS, peaks, robust, textbook
from filterlib.analysis.damping.real_parts import fitted
from filterlib.analysis.stability.margins import margins
from filterlib.analysis.stability.part_limits import part_limits
from filterlib.network.multiaffine.certificate import certify
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.show.stability.stability_chapter import stability_chapter
from filterlib.system.line.stages import Damping
from filterlib.system.solution import solve, solve_all
from tests.benchmarks.engine import Row, unit
from tests.pencils import disagreements, hand_roots, random_circuit

CIRCUITS, DRAWS = 200, 10_000
SECTION = 0.4  # units that half a second is on the machine on which both were measured first


def contradicted(seeds: range, draws: int) -> tuple[dict[str, int], int, list[float]]:
    """How often each verdict came, how many were wrong of those, and the processor time [s] that each took."""
    counts, wrong, times = {"stable": 0, "unstable": 0, "undecided": 0}, 0, []
    for seed in seeds:
        circuit, ranges = random_circuit(seed)
        start = process_time()
        found = certify(circuit, ranges)
        times.append(process_time() - start)
        counts[found.verdict] += 1
        rng = np.random.default_rng(seed)
        values = {name: rng.uniform(*ends, draws) for name, ends in ranges.items()}
        if found.verdict == "unstable":
            values = {name: np.array([value]) for name, value in found.values.items()}
        right = hand_roots(circuit, values, 1e5).real.max() > 0
        wrong += found.verdict != "undecided" and right != (found.verdict == "unstable")
    return counts, wrong, times


def outdone(cases: int) -> tuple[int, float]:
    """In how many of random cases the textbook's resistor has no higher worst peak than the robust one, and seconds a case."""
    rng, wrong, start = np.random.default_rng(1), 0, perf_counter()
    for _ in range(cases):
        network, ratio = NETWORKS[rng.integers(3)], float(10 ** rng.uniform(-0.5, 1))
        spread = dict(zip(("inductance", "capacitance", "added", "resistance"), rng.uniform(0.05, 0.3, 4), strict=True))
        ends = np.array(np.meshgrid(*[[1 - one, 1 + one] for one in spread.values()])).reshape(4, -1).T
        plain = peaks(network, ratio, np.array([textbook(network, ratio)[0]]), ends)[0]
        wrong += plain <= robust(network, ratio, spread).worst
    return int(wrong), (perf_counter() - start) / cases


def section() -> float:
    """Processor time [s] of the stability section of the brick's review: margins at all operating points, the converter's side, words
    and figures; the least of three."""
    solutions = solve_all(load_design(data_folder() / "designs" / "tide-gauge-brick.toml"))
    known = [solution.poles for solution in solutions]
    times = []
    for _ in range(3 if known else 0):
        start = process_time()
        found = [one for solution in solutions for one in margins(solution)]
        limits = part_limits(solutions[0], min(found, key=lambda one: one.more))
        stability_chapter(found, solutions[0].design, converter_side(solutions[0]), limits)
        times.append(process_time() - start)
    return min(times)


def search() -> float:
    """Seconds of the search for the resistors of one damping branch: nominal, over tolerances, and its peaks."""
    design = load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    part = next(table["film-4u7-63V"] for table in standard_tables() if "film-4u7-63V" in table)
    branch = Damping(kind="damping", name="D", part=part, resistance=2.0)
    solution = solve(design.replace(filter=(*design.filter, branch)))
    start = perf_counter()
    fitted(solution, "D", 2.0, 30e3)
    return perf_counter() - start


def rows() -> list[Row]:
    """The table. Ratio: certificates that are wrong; cases in which the textbook's resistor is better over the tolerances."""
    counts, wrong, times = contradicted(range(CIRCUITS), DRAWS)
    words = (
        f"certificates: {counts['stable']} stable, {counts['unstable']} not, {counts['undecided']} undecided; slowest"
    )
    found, each = outdone(100)
    shown, start = section(), perf_counter()
    differ = sum(len(disagreements(seed)) for seed in range(CIRCUITS))
    agreed = "eigenvalues, Nyquist count and critical power, each of 200 random circuits"
    return [
        Row(words, max(times), float(wrong), "under 10 s; none contradicted"),
        Row(agreed, (perf_counter() - start) / CIRCUITS, float(differ), "none differs"),
        Row(
            "stability section of the brick's review, in units",
            shown,
            shown / unit(),
            f"at most 0.5 s, {SECTION} units",
        ),
        Row("resistors of one damping branch with real parts", search(), 1.0, ""),
        Row("robust damper, each of 100 random cases", each, float(found), "none beaten by the textbook's"),
    ]
