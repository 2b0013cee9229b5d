"""Two lines and the chassis as differential and common mode.

The convention, everywhere: v_dm = v+ - v-, v_cm = (v+ + v-)/2 to chassis, i_dm = (i+ - i-)/2, i_cm = i+ + i-. With it the
power of the lines is the sum of the powers of the modes. A purely differential v_dm puts half of it on each line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from filterlib.analysis.described import Hertz, Ohms, Ratio
from filterlib.analysis.linear.two_lines import CONVENTION
from filterlib.errors import QuantityError
from filterlib.network.circuit import Circuit
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.inside.ways import CHASSIS
from filterlib.system.line.couplings import couple
from filterlib.system.line.stages import add_filter
from filterlib.system.solution import Solution
from filterlib.units import decibels

FREQUENCIES = np.logspace(3, 8, 501)  # [Hz]
PORTS = (PLUS, RETURN, "load_plus", "0")
"""Each to chassis; odd and even ones are the two lines at the converter's end and at the load's."""
_MODES = np.array([[1, -1, 0, 0], [0, 0, 1, -1], [1, 1, 0, 0], [0, 0, 1, 1]]) / np.sqrt(2)


@dataclass(frozen=True)
class ModalTwoPort:
    """Scattering of the filter between the converter's end (1) and the load's end (2), in lines and in modes.

    ``reference`` of each line to chassis, so twice that between the lines and half of it for both together. ``lines``
    (..., f, 4, 4): by line, in the order of `PORTS`. ``modes`` (..., f, 4, 4): differential 1 and 2, common 1 and 2. Rows are
    what comes out, columns what goes in.
    """

    frequencies: Hertz[np.ndarray]
    reference: Ohms[float]
    lines: Ratio[np.ndarray]
    modes: Ratio[np.ndarray]
    convention: str = CONVENTION

    @property
    def differential(self) -> np.ndarray:
        """Differential in, differential out (..., f, 2, 2)."""
        return self.modes[..., :2, :2]

    @property
    def common(self) -> np.ndarray:
        """Common in, common out (..., f, 2, 2)."""
        return self.modes[..., 2:, 2:]

    @property
    def common_to_differential(self) -> np.ndarray:
        """What common mode turns into differential (..., f, 2, 2): how a chassis current becomes ripple."""
        return self.modes[..., :2, 2:]

    @property
    def differential_to_common(self) -> np.ndarray:
        """What differential turns into common mode (..., f, 2, 2): how ripple becomes emission."""
        return self.modes[..., 2:, :2]

    @property
    def losses(self) -> dict[str, np.ndarray]:
        """From the converter's end to the load's [dB], (..., f): of each mode, and of each conversion."""
        blocks = {
            "differential": self.differential,
            "common": self.common,
            "common_to_differential": self.common_to_differential,
            "differential_to_common": self.differential_to_common,
        }
        return {name: -decibels(block[..., 1, 0]) for name, block in blocks.items()}


def mixed(lines: np.ndarray) -> np.ndarray:
    """Scattering matrix by modes from that by lines, both (..., 4, 4), the lines of an end being neighbours.

    With power waves and the same reference z0 on all lines, a_dm = (a+ - a-)/sqrt(2) at 2 z0 and a_cm = (a+ + a-)/sqrt(2) at
    z0/2: an orthogonal change of basis, which keeps the power. Source: D. E. Bockelman and W. R. Eisenstadt, "Combined
    differential and common-mode scattering parameters", IEEE Trans. MTT 43 (1995) 1530-1539 (from memory).

    Two equal lines straight through carry each mode straight through:

    >>> straight = np.kron(np.array([[0, 1], [1, 0]]), np.eye(2))
    >>> mixed(straight).round(12).real.astype(int).tolist()
    [[0, 1, 0, 0], [1, 0, 0, 0], [0, 0, 0, 1], [0, 0, 1, 0]]
    """
    return np.asarray(_MODES @ lines @ _MODES.T)


def modal_two_port(
    solution: Solution, *, frequencies: np.ndarray = FREQUENCIES, reference: float = 50.0
) -> ModalTwoPort:
    """The filter of a design, three conductors, as a two-port of modes.

    Each terminal is driven through the reference, S_ij = 2 v_i/e_j - (i = j), so that the matrix exists for every filter,
    one that opens or shorts included. The insulation of the chassis is left out: the terminations hold every node.

    Parameters: ``solution``: of its design, the filter alone is used, with its loop couplings; many designs at once where
    values are arrays (designs, 1); ``frequencies`` (f,), above 0 [Hz]; ``reference`` of each line to chassis [ohm].
    Returns: ModalTwoPort, its matrices complex (f, 4, 4) or (designs, f, 4, 4).
    Raises: QuantityError where the reference or a frequency is not above 0.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> losses = modal_two_port(solution, frequencies=np.array([180e3])).losses
    >>> round(float(losses["differential"][0]), 1), round(float(losses["common"][0]), 1)  # [dB]
    (60.2, 26.5)
    """
    if not (np.isfinite(reference) and reference > 0):
        raise QuantityError("must be above 0 ohm", name="reference", value=reference)
    if not np.all(np.asarray(frequencies) > 0):
        raise QuantityError("must be above 0 Hz", name="frequencies", value=frequencies)
    circuit = terminated(solution, reference)
    transfers = circuit.transfer(frequencies, [f"E{n}" for n in range(1, 5)], [(port, CHASSIS) for port in PORTS])
    lines = np.moveaxis(2 * np.array(transfers), (0, 1), (-1, -2)) - np.eye(4)
    return ModalTwoPort(np.asarray(frequencies, float), reference, lines, mixed(lines))


def terminated(solution: Solution, reference: float) -> Circuit:
    """The filter alone, each of `PORTS` driven by a source "E1" ... "E4" behind the reference [ohm] from the chassis."""
    circuit, design = Circuit(), solution.design
    add_filter(circuit, design.filter, PORTS[:2], PORTS[2:], solution.state)
    couple(circuit, design.all_couplings, design.filter)
    for number, port in enumerate(PORTS, 1):
        circuit.voltage_source(f"E{number}", f"source{number}", CHASSIS)
        circuit.resistor(f"reference{number}", f"source{number}", port, reference)
    return circuit
