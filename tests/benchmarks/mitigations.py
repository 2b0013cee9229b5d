"""The reasons of one design with thirty candidates and their pairs, beside each solved by batched dense LAPACK."""

from __future__ import annotations

from time import perf_counter

import numpy as np

from filterlib import load_design
from filterlib.analysis.causes.candidates import candidates
from filterlib.analysis.causes.reasons import PAIRS, reasons
from filterlib.analysis.ripple.at_load import GRID
from filterlib.analysis.ripple.spectra import driven
from filterlib.network.equations import dense
from filterlib.network.equations.tableau import build
from filterlib.network.solver import forget
from filterlib.parts.tables import data_folder, standard_tables
from filterlib.system.solution import solve
from tests.benchmarks.engine import Row, seconds

CANDIDATES = 30


def _parts(design, load):
    """As many parts, in the order of their names, as make thirty candidates at most."""
    every = {name: part for table in standard_tables() for name, part in table.items()}
    chosen: dict = {}
    for name in sorted(every):
        if len(candidates(design, load, chosen | {name: every[name]})) <= CANDIDATES:
            chosen[name] = every[name]
    return chosen


def _dense(design) -> float:
    """Seconds that one design takes with dense matrices, at the same frequencies, assembly included."""
    solution = solve(design)
    f = np.concatenate((GRID, solution.source_spectra.frequencies[1:]))

    def densely():
        tableau = build(solution.circuit.netlist)
        values = [np.broadcast_to(v, f.shape) if np.ndim(v) else v for v in tableau.values(f, 2j * np.pi * f)]
        a = dense.assemble(tableau.pattern, values, len(f))
        b = dense.right_sides(tableau.pattern.size, tuple(tableau.source(name) for name in driven(design)))
        return np.linalg.solve(a, np.broadcast_to(b.astype(complex), (len(f), *b.shape)))

    return seconds(densely)


def _cold(design, parts, pairs: int) -> tuple[float, int]:
    """Seconds with no plan kept from before, and how many designs were tried in them."""
    forget()
    start = perf_counter()
    found = reasons(solve(design), "modem", parts=parts, pairs=pairs)
    return perf_counter() - start, len(found.mitigations) + len(found.pairs)


def rows() -> list[Row]:
    """The table. Ratio: dense LAPACK for the nominal figures alone of as many designs, over all of the reasons."""
    table = []
    for name in ("clean", "brick"):
        design = load_design(data_folder() / "designs" / f"tide-gauge-{name}.toml")
        parts = _parts(design, "modem")
        one = _dense(design)
        for pairs in (PAIRS, CANDIDATES):
            time, tried = _cold(design, parts, pairs)
            words = f"reasons, {name}, {CANDIDATES} candidates and pairs: {tried} designs"
            table.append(Row(words, time, tried * one / time, "under 3 s; ratio: dense over all of it"))
    return table
