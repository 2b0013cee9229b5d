"""A second method for natural frequencies: the nodal pencil written by hand, nodes and inductors as unknowns, dense eigenvalues."""

from __future__ import annotations

import numpy as np

from filterlib.analysis.stability.minor_loop import limits
from filterlib.network.circuit import Circuit


def hand_roots(circuit: Circuit, values: dict[str, np.ndarray], shift: float) -> np.ndarray:
    """Natural frequencies (cases, n) [1/s] with other ``values`` (cases,) by element; infinite ones are far beyond all others.

    R, L, C and conductances alone; v - s L i = 0 for each L. Eigenvalues 1/(s - shift) of (G + shift C)^-1 C.
    """
    nodes = [node for node in circuit.nodes if node != "0"]
    coils = [element.name for element in circuit.elements if element.kind == "inductor"]
    row = {name: place for place, name in enumerate([*nodes, *coils])}
    cases = max((len(one) for one in values.values()), default=1)
    still, moving = (np.zeros((cases, len(row), len(row))) for _ in range(2))
    for element in circuit.elements:
        value = np.broadcast_to(values.get(element.name, element.value), (cases,))
        ends = [(row[node], sign) for node, sign in zip(element.nodes, (1, -1), strict=True) if node != "0"]
        if element.kind == "inductor":
            at = row[element.name]
            moving[:, at, at] -= value
            for node, sign in ends:
                still[:, at, node] += sign
                still[:, node, at] += sign
            continue
        matrix = moving if element.kind == "capacitor" else still
        admittance = 1 / value if element.kind == "resistor" else value
        for node, sign in ends:
            for other, opposite in ends:
                matrix[:, node, other] += sign * opposite * admittance
    found = np.linalg.eigvals(np.linalg.solve(still + shift * moving, moving)).astype(
        complex
    )  # 1 / (shift - s), turned
    with np.errstate(divide="ignore", invalid="ignore"):
        roots = shift - 1 / found
    return np.where(np.abs(found) * shift < 1e-11, -1e30, roots)


def random_circuit(seed: int) -> tuple[Circuit, dict[str, tuple[float, float]]]:
    """Up to 12 nodes: a line of lossy chokes with lossy capacitors, loads of negative conductance, and ranges of up to ten elements."""
    rng = np.random.default_rng(seed)
    circuit, stages = Circuit(), int(rng.integers(1, 5))
    last = "0"
    for at in range(stages):
        node = f"n{at}"
        circuit.resistor(f"R{at}", last, f"m{at}", 10 ** rng.uniform(-2, -0.5))
        circuit.inductor(f"L{at}", f"m{at}", node, 10 ** rng.uniform(-6, -4))
        circuit.resistor(f"E{at}", node, f"c{at}", 10 ** rng.uniform(-2, 0))
        circuit.capacitor(f"C{at}", f"c{at}", "0", 10 ** rng.uniform(-6, -4))
        last = node
    least = sum(element.value for element in circuit.elements if element.name in ("R0", "R1", "R2", "R3"))
    circuit.conductance("G", last, "0", -(10 ** rng.uniform(-2.5, -0.3)) * min(1.0, 0.5 / least))
    if stages > 1 and rng.random() < 0.5:
        circuit.conductance("G0", "n0", "0", -(10 ** rng.uniform(-3, -1.5)))
    spread = float(rng.choice([0.05, 0.1, 0.2, 0.3]))
    names = [str(name) for name in rng.permutation([element.name for element in circuit.elements])[:10]]
    values = {element.name: element.value for element in circuit.elements if element.name in names}
    ends = {name: (value * (1 - spread), value * (1 + spread)) for name, value in values.items()}
    return circuit, {name: (min(pair), max(pair)) for name, pair in ends.items()}


def disagreements(seed: int) -> list[str]:
    """What differs of one random circuit, a thousandth below and above its critical conductance: eigenvalues, Nyquist count."""
    circuit, _ = random_circuit(seed)
    load = circuit.netlist.find("G")
    port = Circuit()
    for element in circuit.elements:
        if element.name not in ("G", "G0"):
            getattr(port, element.kind)(element.name, *element.nodes, element.value)
    found = limits(lambda f: port.impedance(f, load.nodes[0]), lambda f: -np.ones(len(f)), 1.0, 1e8)
    alone = port.copy().conductance("G", *load.nodes, -found.exact)
    f = np.concatenate([[0.0], np.geomspace(1e-4, 1e12, 40000), found.frequency * np.linspace(0.9, 1.1, 20001)])
    impedance, wrong = port.impedance(np.unique(f), load.nodes[0]), []
    for share, unstable in ((0.999, False), (1.001, True)):
        roots = hand_roots(alone, {"G": np.array([-found.exact * share])}, 1e5)[0]
        turned = 1 - found.exact * share * impedance
        turns = -round(np.sum(np.angle(turned[1:] / turned[:-1])) / np.pi)  # both halves of the axis, from real to real
        if (roots.real.max() > 0) != unstable:
            wrong.append(f"seed {seed}: eigenvalues at {share:g} of the critical power")
        if turns != np.sum(roots.real > 0):
            wrong.append(f"seed {seed}: {turns} turns at {share:g} of the critical power")
    return wrong
