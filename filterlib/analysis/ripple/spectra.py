"""What each source makes at each place: harmonics times transfer function, exact, no time stepping."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

import numpy as np

from filterlib.analysis.ripple.ripple_result import FEW, Place, Spectra
from filterlib.analysis.uncertainty.moved_alone import leading
from filterlib.network.circuit import Circuit
from filterlib.network.extremes import peak_to_peak
from filterlib.network.netlist import Output
from filterlib.network.shapes import triangle
from filterlib.network.solver import Answers
from filterlib.network.spectrum import lowpass_response
from filterlib.network.thinned import at_all_orders, kept_orders
from filterlib.system.design import Design
from filterlib.system.inside.converter import PLUS, RETURN
from filterlib.system.line.clip import TERMINALS
from filterlib.system.line.load import ReflectedRipple
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.solution import Solution
from filterlib.system.sources.measuring import measuring_circuit
from filterlib.system.sources.source_spectra import source_spectra
from filterlib.system.state import State

_REFLECTED_TOP = 20e6  # [Hz] highest harmonic of a load's reflected ripple
_REFLECTED_MOST = 2000


def spectra(
    solution: Solution,
    *,
    filtered: bool = True,
    outputs: Mapping[Any, Output] | None = None,
    top: float | None = None,
    thinned: bool = False,
    spot_checked: bool = False,
) -> Spectra:
    """Harmonics at the terminals, at every load, and in a clipped scope's readings, of every source, at a point.

    Parameters: ``solution``; ``filtered``: False takes the filter away; ``outputs``: what to read instead, by any label that
    then names the place: nodes, pairs of them, `Current`; ``top`` [Hz]: leave out the converter's harmonics above the first
    that reaches it, None keeps all; ``thinned``: the circuit is solved at some harmonics and read at the others, see
    `filterlib.network.thinned`: a sixth of the time, within about 1e-3, in single precision; ``spot_checked``: only some of the points are checked for rounding,
    see `Circuit.transfer`.
    Returns: Spectra, its coefficients complex (h,), or (designs, h) where the design holds arrays.
    Raises: ScaleError where the converter's stated figures contradict each other; CircuitError for an unknown output.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> harmonics = spectra(solution)
    >>> harmonics.places, harmonics.sources("modem"), harmonics.by_source["modem", "ripple"].shape
    (('terminals', 'modem', 'logger'), ('ripple',), (556,))
    """
    design, harmonics = solution.design, solution.source_spectra.frequencies
    count = len(harmonics) if top is None else int(np.ceil(top / harmonics[1]))
    frequencies = harmonics[1 : count + 1]
    read = outputs or ports(design)
    circuit = solution.with_filter(filtered)
    transfers = _transfers(
        circuit, frequencies, driven(design), list(read.values()), thinned=thinned, rough=spot_checked
    )
    reflected, grids = _reflected(solution, circuit, read)
    by_source = from_transfers(solution, list(read), transfers)
    return Spectra(frequencies, by_source, reflected, grids, solution.source_spectra)


def _transfers(
    circuit: Circuit, frequencies: np.ndarray, sources: list[str], outputs: list[Output], *, thinned: bool, rough: bool
) -> Answers:
    """As `Circuit.transfer`, at harmonics from the first one on."""
    if not thinned:
        return circuit.transfer(frequencies, sources, outputs, rough=rough)
    some = circuit.transfer(frequencies[kept_orders(len(frequencies)) - 1], sources, outputs, rough=True)
    return [[at_all_orders(one.astype(np.complex64), len(frequencies)) for one in row] for row in some]


def driven(design: Design) -> list[str]:
    """The converter's sources in the circuit."""
    return ["ripple", *(["common_mode"] if design.converter.common_mode is not None else [])]


def from_transfers(
    solution: Solution, places: Sequence[Place], transfers: Sequence[Sequence[np.ndarray]]
) -> dict[tuple[Place, str], np.ndarray]:
    """Harmonics [V] by (place, source) from the transfers at the first of them, for each of `driven` and each place."""
    converter, sources = solution.design.converter, solution.source_spectra
    kept, precision = slice(1, 1 + transfers[0][0].shape[-1]), transfers[0][0].dtype
    scaled = {"ripple": (transfers[0], solution.source_scale * sources.ripple[..., kept])}
    if converter.spike is not None or np.any(sources.spike):
        scaled["spike"] = transfers[0], sources.spike[..., kept]
    if converter.common_mode is not None:
        scaled["common_mode"] = transfers[1], sources.common_mode[..., kept]
    scaled = {name: (row, np.asarray(one).astype(precision, copy=False)) for name, (row, one) in scaled.items()}
    return {
        (place, source): row[index] * spectrum
        for index, place in enumerate(places)
        for source, (row, spectrum) in scaled.items()
    }


def ports(design: Design, places: Collection[str] | None = None) -> dict[str, Output]:
    """Where ripple is read, by place: the terminals, every load, a clipped scope's readings; or those of ``places`` alone."""
    every: dict[str, Output] = {TERMINALS: (PLUS, RETURN), **{load.name: load.port for load in design.loads}}
    every |= {} if design.clip is None else design.clip.readings(design.loads)
    return {place: port for place, port in every.items() if places is None or place in places}


def rough_sizes(many: Solution, one: Solution) -> np.ndarray:
    """Logarithm of the ripple's size at every place, (designs, places): at `FEW` harmonics, and with the sources of ``one`` design."""
    sources, design = one.source_spectra, one.design
    few = np.unique(np.geomspace(1, len(sources.frequencies) - 1, FEW).astype(int))
    circuit = many.with_filter(True)
    rows = circuit.transfer(sources.frequencies[few], driven(design), list(ports(design).values()))
    forces = (sources.ripple + sources.spike, sources.common_mode)
    powers = sum(np.abs(np.array(row) * force[few]) ** 2 for row, force in zip(rows, forces, strict=False))
    return np.asarray(np.log(np.sum(powers, axis=-1)).T / 2)


def as_measured(design: Design) -> dict[str, float]:
    """What the stated arrangements read on the model, without filter: "ripple" and, if stated, "spike" [V] peak to peak."""
    full = design.full_current
    forces = source_spectra(design.converter, full)
    driving = {"ripple": forces.ripple + forces.spike}
    if driven(design)[1:] and design.converter.measured_with:
        driving["common_mode"] = forces.common_mode
    stated = {"ripple": design.converter.ripple, "spike": design.converter.spike}
    read = {}
    for name, arrangement in stated.items():
        if arrangement is not None:
            current = full if arrangement.load_current is None else arrangement.load_current
            probe = measuring_circuit(design.converter, arrangement, current)
            transfers = probe.transfer(forces.frequencies[1:], list(driving), ("probe", RETURN))
            limit = lowpass_response(forces.frequencies[1:], arrangement.bandwidth, arrangement.order)
            shown = (transfer * emf[..., 1:] for transfer, emf in zip(transfers, driving.values(), strict=True))
            read[name] = float(peak_to_peak(limit * sum(shown, np.zeros(1, complex))))
    return read


def _reflected(
    solution: Solution, circuit: Circuit, ports: Mapping[Place, Output]
) -> tuple[dict[tuple[Place, str], np.ndarray], dict[str, np.ndarray]]:
    """What the loads' own ripple currents make at every place."""
    amplitudes, grids = {}, {}
    for load in solution.design.loads:
        if load.ripple is None or solution.state.scale(load.name) == 0:
            continue
        k, current = _triangle(load.ripple)
        grids[load.name] = k * load.ripple.frequency
        for place, transfer in zip(
            ports, circuit.transfer(grids[load.name], load.source, list(ports.values())), strict=True
        ):
            amplitudes[place, load.name] = transfer * current
    return amplitudes, grids


def _triangle(drawn: ReflectedRipple) -> tuple[np.ndarray, np.ndarray]:
    """Orders and coefficients [A] of a load's triangular ripple current."""
    k = np.arange(1, min(int(_REFLECTED_TOP / drawn.frequency), _REFLECTED_MOST) + 1)
    return k, drawn.peak_to_peak * triangle(k, drawn.duty)


def lead(state: State) -> Callable[[Design, tuple[UncertainParameter, ...]], tuple[int, ...]]:
    """Which uncertain parameters are moved alone at a state: of very many, those that move the ripple most."""

    def found(design: Design, box: tuple[UncertainParameter, ...]) -> tuple[int, ...]:
        one = Solution(design, state)
        return leading(box, lambda values: rough_sizes(one.varied(values), one))

    return found
