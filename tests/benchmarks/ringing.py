"""Certificates of stability of random circuits against ten thousand draws each, and how long one of ten elements takes."""

from __future__ import annotations

from time import perf_counter

import numpy as np

from filterlib.network.multiaffine.certificate import certify
from tests.benchmarks.engine import Row
from tests.pencils import hand_roots, random_circuit

CIRCUITS, DRAWS = 200, 10_000


def contradicted(seeds: range, draws: int) -> tuple[dict[str, int], int, list[float]]:
    """How often each verdict came, how many were wrong of those, and the seconds that each took."""
    counts, wrong, times = {"stable": 0, "unstable": 0, "undecided": 0}, 0, []
    for seed in seeds:
        circuit, ranges = random_circuit(seed)
        start = perf_counter()
        found = certify(circuit, ranges)
        times.append(perf_counter() - start)
        counts[found.verdict] += 1
        rng = np.random.default_rng(seed)
        values = {name: rng.uniform(*ends, draws) for name, ends in ranges.items()}
        if found.verdict == "unstable":
            values = {name: np.array([value]) for name, value in found.values.items()}
        right = hand_roots(circuit, values, 1e5).real.max() > 0
        wrong += found.verdict != "undecided" and right != (found.verdict == "unstable")
    return counts, wrong, times


def rows() -> list[Row]:
    """The table. Ratio: certificates that are wrong."""
    counts, wrong, times = contradicted(range(CIRCUITS), DRAWS)
    words = (
        f"certificates: {counts['stable']} stable, {counts['unstable']} not, {counts['undecided']} undecided; slowest"
    )
    return [Row(words, max(times), float(wrong), "under 10 s; none contradicted")]
