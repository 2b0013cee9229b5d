"""What every part is stressed with, against what it is rated for: currents, voltages, heat, life."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from filterlib.analysis.described import Amperes, Hertz, Volts, Watts
from filterlib.analysis.ripple.ripple_result import Spectra
from filterlib.analysis.ripple.spectra import lead, spectra
from filterlib.analysis.stress.stress_check import (
    Basis,
    Heat,
    Kind,
    StressCheck,
    StressResult,
)
from filterlib.analysis.uncertainty.interval import shapes
from filterlib.network.extremes import largest_magnitude, peak_to_peak
from filterlib.network.netlist import Current, Element, Output
from filterlib.parts.ageing import SEAL_LIFE
from filterlib.parts.base import Part
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.values import Value
from filterlib.parts.wound import Wound, temperature_rise
from filterlib.system.design import Design, with_values
from filterlib.system.line.components import Branch, Component
from filterlib.system.ranges.uncertain_parameter import SHAPE, SHAPE_LABEL
from filterlib.system.ranges.uncertain_parameters import label_of, uncertain_parameters
from filterlib.system.solution import Solution
from filterlib.system.sources.source_shapes import samples
from filterlib.system.state import State

CERAMIC_RISE = 20.0
"""[K] by which ripple may heat a ceramic: TDK, FAQ capacitors-0142, and Kyocera, safety application guide for multilayer ceramic chip capacitors."""
CLEAR = 0.3  # margin that a rating must have to be judged from rough figures
TOGETHER = 64  # designs in which the parameters that are not moved alone are at their ends all at once
OTHERS = "other tolerances together"
Lines = list[tuple[Hertz[np.ndarray], np.ndarray]]  # frequencies (h,) and coefficients (designs, h), one pair a source


@dataclass(frozen=True)
class _Measure:
    """A stress of all designs of a batch, (designs, 1), with its limit and what that is."""

    what: str
    unit: str
    values: Value
    limit: Value
    basis: Basis
    at_least: bool = False


def stress(solution: Solution, *, interval: bool = True, rough: bool = False) -> StressResult:
    """The stress of the converter, of every part of the filter, and of the loads' input capacitors, at a stable operating point.

    Currents and voltages are those of the ripple, spikes and common mode included, and of the DC state. Each uncertain
    parameter is moved alone to both ends of its range; of very many, those that move the ripple least at once (see `_batch`). Heat is taken at the surroundings' temperature, `State.temperature`;
    a part's own rise changes its copper and its life, and not the circuit.

    Parameters: ``solution`` of one design at a stable operating point; ``interval``: False leaves the uncertainty out; ``rough``: within
    some percent, as where only what is exceeded is asked for; exact where any rating is nearer than `CLEAR`.
    Returns: StressResult, one check for each stress of each part (SI units), one heat for each part [W].
    Raises: ScaleError where the converter's stated figures contradict each other.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> solution = filterlib.solve(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "listening")
    >>> check = stress(solution).checks[0]
    >>> check.name, check.what, round(check.value, 3), check.limit, check.verdict  # [A]
    ('C1', 'ripple current', 0.059, 2.4, 'met')
    """
    result = _stress(solution, interval=interval, thinned=rough)
    near = rough and any(one.margin < CLEAR for one in result.checks)
    return _stress(solution, interval=interval) if near else result


def _stress(solution: Solution, *, interval: bool, thinned: bool = False) -> StressResult:
    design, state = solution.design, solution.state
    batches = [_batch(variant, state) for variant in shapes(design)] if interval else [(design, [])]
    solved = (Solution(many, state) if many is not design else solution for many, _ in batches)
    loaded = [loadings(one, thinned=thinned, spot_checked=interval) for one in solved]
    keys = ["", *batches[0][1], *(f"{SHAPE} {key}" for _, more in batches[1:] for key in ("", *more))]
    checks, heats = [*_of_converter(design, state)], []
    for alike in zip(*loaded, strict=True):
        heat = [_heat(one, state) for one in alike]
        measures = [tuple(_measures(one, rise, design, state)) for one, (*_, rise) in zip(alike, heat, strict=True)]
        checks += [_check(alike[0], same, keys, design, state) for same in zip(*measures, strict=True)]
        direct, ripple, core, rise = (float(np.ravel(part)[0]) for part in heat[0])
        part = alike[0].component
        heats.append(Heat(part.name, part.label, part.count, direct, ripple, core, rise))
    return StressResult(state.point, tuple(checks), tuple(heats))


def _batch(design: Design, state: State) -> tuple[Design, list[str]]:
    """A design of several: the nominal one, then each uncertain parameter alone at its two ends, and their keys in order.

    Of very many, those that do not lead are at their ends all at once, at random, in `TOGETHER` designs.
    """
    box = uncertain_parameters(design)
    if not box:
        return design, []
    places = lead(state)(design, box)
    others = [place for place in range(len(box)) if place not in places]
    together = TOGETHER if others else 0
    ends = np.array([[one.low, one.high] for one in box])
    columns = np.repeat([[one.nominal for one in box]], 1 + 2 * len(places) + together, axis=0)
    for number, place in enumerate(places):
        columns[1 + 2 * number : 3 + 2 * number, place] = ends[place]
    columns[len(columns) - together :, others] = ends[
        others, np.random.default_rng(1).integers(0, 2, (together, len(others)))
    ]
    values = {one.key: columns[:, [place]] for place, one in enumerate(box)}
    return with_values(design, values), [box[place].key for place in places for _ in range(2)] + [OTHERS] * together


def _heat(one: Loading, state: State) -> tuple[Value, Value, Value, Value]:
    """Heat of direct current, of ripple, of the core by Steinmetz [W], and rise [K]; (designs, 1) each."""
    part, nothing = one.component.part, np.full((1, 1), np.nan)
    core: Value = nothing
    rise: Value = nothing
    resistance = getattr(part, "thermal_resistance", None)
    if isinstance(part, Wound):
        core = _core_heat(one, part, state)
        if resistance is not None:
            copper, rest = one.direct_heat + one.copper_heat, np.fmax(one.ripple_heat - one.copper_heat, core)
            rise = temperature_rise(copper, rest, resistance, state.temperature)
    elif resistance is not None:
        rise = one.ripple_heat * resistance
    return one.direct_heat, one.ripple_heat, core, rise


def _core_heat(one: Loading, part: Wound, state: State) -> np.ndarray:
    """Of every source by itself, added: exact for the converter's alone."""
    if part.steinmetz is None:
        return np.full((1, 1), np.nan)
    volts = core_voltage(one, state)
    flux = integral(volts)
    swings = (peak_to_peak(c) for _, c in flux)
    heats = [part.core_heat(samples(c), s) for (_, c), s in zip(volts, swings, strict=True)]
    return np.asarray(np.sum([np.reshape(heat, (-1, 1)) for heat in heats], axis=0))


def _measures(one: Loading, rise: Value, design: Design, state: State) -> Iterator[_Measure]:
    part = one.component.part
    if isinstance(part, Capacitor):
        yield from _of_capacitor(one, part, rise, design, state)
    elif isinstance(part, DifferentialChoke):
        (branch,) = one.component.branches
        yield _rated("current", one.rms_with_direct, part, "rated_current", "rms")
        there = part.inductance_at(branch.direct, state.temperature)
        magnetising = [(f, c / there) for f, c in integral(core_voltage(one, state))]
        yield _rated("peak current", peak(magnetising, branch.direct), part, "saturation_current", "magnetising peak")
        yield _rise(part, rise, state)
    elif isinstance(part, CommonModeChoke):
        yield from _of_common_mode(one, part, rise, state)


def _rated(what: str, values: Value, part: Part, field: str, kind: Kind) -> _Measure:
    limit = getattr(part, field, None)
    return _Measure(what, "A", values, *((np.nan, Basis(kind, field)) if limit is None else (limit, Basis(kind))))


def _of_capacitor(one: Loading, part: Capacitor, rise: Value, design: Design, state: State) -> Iterator[_Measure]:
    bias = one.component.bias
    weighed = sum(
        2 * np.sum(np.abs(c / part.ripple_factor(f)) ** 2, axis=-1, keepdims=True) for f, c in one.currents[0]
    )
    limit = part.rated_ripple(state.temperature)
    factors = tuple(name for name in ("frequency", "temperature") if getattr(part, f"ripple_{name}_curve") is not None)
    basis = Basis("ripple rms", "ripple_current" if limit is None else "", factors)
    yield _Measure("ripple current", "A", np.sqrt(weighed), np.nan if limit is None else limit, basis)
    share = float(np.max(part.usable_voltage / part.rated_voltage))
    by_kind = part.voltage_derating is None
    basis = Basis("usable voltage", share=share, rated=float(np.max(part.rated_voltage)), by_kind=by_kind)
    yield _Measure("voltage", "V", peak(one.voltages[0], bias), part.usable_voltage, basis)
    yield _rise(part, rise, state)
    life = part.life_at(state.temperature + rise)
    if life is not None:
        asked = np.nan if design.service_life is None else design.service_life
        missing = "service_life" if design.service_life is None else ""
        beyond = bool(np.any(np.asarray(life) > SEAL_LIFE))
        if part.thermal_resistance is None and not beyond:
            missing = "thermal_resistance"
        yield _Measure("life", "s", life, asked, Basis("life", missing, beyond_seal=beyond), at_least=True)
    leakage = part.leakage_current(bias)
    if leakage is not None:
        yield _Measure("leakage current", "A", np.reshape(leakage, (-1, 1)), np.nan, Basis("leakage"))


def _of_common_mode(one: Loading, part: CommonModeChoke, rise: Value, state: State) -> Iterator[_Measure]:
    name = one.component.name
    yield _rated("current", one.rms_with_direct, part, "rated_current", "winding rms")
    unbalance, balanced = state.unbalance(name), state.current(name)
    there = part.magnetising_at(unbalance, balanced, state.temperature)
    magnetising = [(f, c / there) for f, c in integral(core_voltage(one, state))]
    values = peak(magnetising, unbalance) + np.abs(balanced * part.imbalance) / 2
    yield _rated("unbalanced current", values, part, "saturation_current", "unbalanced peak")
    loop = [(f, (i - j) / 2) for (f, i), (_, j) in zip(*one.currents, strict=True)]
    yield _rated("balanced current", peak(loop, balanced), part, "leakage_saturation_current", "peak")
    yield _rise(part, rise, state)


def _rise(part: Capacitor | Wound, rise: Value, state: State) -> _Measure:
    most = part.maximum_temperature
    limits: dict[Kind, float] = {
        "highest temperature": np.nan if most is None else float(np.max(most)) - state.temperature
    }
    if part.kind.startswith("ceramic"):
        limits["ceramic rise"] = CERAMIC_RISE
    kind, limit = min(limits.items(), key=lambda pair: np.inf if np.isnan(pair[1]) else pair[1])
    missing = "maximum_temperature" if np.isnan(limit) else ""
    if part.thermal_resistance is None:
        missing, limit = "thermal_resistance", np.nan
    return _Measure("temperature rise", "K", rise, limit, Basis(kind, missing))


def _check(one: Loading, same: Iterable[_Measure], keys: list[str], design: Design, state: State) -> StressCheck:
    """The verdict on one stress; ``same`` holds it for each shape of the converter's current."""
    measures = tuple(same)
    first, count = measures[0], len(keys) // len(measures)
    values = np.concatenate([np.broadcast_to(np.ravel(m.values), (count,)) for m in measures])
    known = values[np.isfinite(values) | np.isposinf(values)]
    limit, value = float(np.max(first.limit)), float(values[0])
    low, high = (float(np.min(known)), float(np.max(known))) if known.size else (np.nan, np.nan)
    at = int(np.nanargmin(values) if first.at_least else np.nanargmax(values)) if known.size else 0
    check = StressCheck(
        one.component.name, one.component.label, first.what, first.unit, value, low, high, limit, first.at_least, first.basis
    )  # fmt: skip
    depends = keys[at].strip() if check.verdict == "undecided" else ""
    return replace(check, depends_on=depends, label=_label(design, depends))


def _label(design: Design, key: str) -> str:
    """What decides, in words: an uncertain parameter, the shape of the converter's current, or both."""
    if not key.startswith(SHAPE):
        return label_of(design, key) or key
    rest = key.removeprefix(SHAPE).strip()
    return SHAPE_LABEL + (f" and the {label_of(design, rest) or rest}" if rest else "")


def _of_converter(design: Design, state: State) -> Iterator[StressCheck]:
    """Current and power that the converter delivers, against its own rating where one is stated."""
    rating = design.converter.rating
    if rating is None:
        return
    share, amps = rating.share(state.temperature), abs(float(state.converter_current))
    delivered = {"output_current": (amps, "A"), "output_power": (amps * float(state.terminal_voltage), "W")}
    basis = Basis("converter", share=share, too_hot=rating.too_hot(state.temperature))
    for name, (value, unit) in delivered.items():
        if (rated := getattr(rating, name)) is not None:
            what = name.replace("_", " ")
            yield StressCheck("converter", "converter", what, unit, value, value, value, share * rated, False, basis)


@dataclass(frozen=True)
class Loading:
    """What one part carries; numbers are arrays (designs, 1), currents and heat those of one of ``count`` in parallel.

    ``currents``, ``voltages``: for every branch its harmonics by source of another frequency, see `Lines`;
    ``direct_heat``, ``ripple_heat``: in the part as the circuit has it.
    """

    component: Component
    currents: Amperes[tuple[Lines, ...]]
    voltages: Volts[tuple[Lines, ...]]
    direct_heat: Watts[np.ndarray]
    ripple_heat: Watts[np.ndarray]

    @property
    def rms(self) -> np.ndarray:
        """Ripple current of the branch that carries most [A]."""
        return np.asarray(np.max([root_sum(lines) for lines in self.currents], axis=0))

    @property
    def rms_with_direct(self) -> np.ndarray:
        """The same with its direct current [A]."""
        pairs = zip(self.currents, self.component.branches, strict=True)
        return np.asarray(np.max([np.hypot(root_sum(lines), branch.direct) for lines, branch in pairs], axis=0))

    @property
    def copper_heat(self) -> np.ndarray:
        """Ripple heat of the windings' resistance to direct current alone [W]."""
        pairs = zip(self.currents, self.component.branches, strict=True)
        return np.asarray(np.sum([branch.ohms * root_sum(lines) ** 2 for lines, branch in pairs], axis=0))


def loadings(solution: Solution, *, thinned: bool = False, spot_checked: bool = False) -> tuple[Loading, ...]:
    """What every part carries at an operating point, which must be stable; ``thinned``, ``spot_checked``: see `spectra`.

    Raises ScaleError where the converter's stated figures contradict each other.
    """
    branches = [branch for one in solution.components for branch in one.branches]
    known = solution.circuit.netlist.by_name
    outputs: dict[tuple[str, Branch], Output] = {("i", b): Current(b.element, b.winding) for b in map(_key, branches)}
    outputs |= {("v", b): _across(known[b.element], b) for b in map(_key, branches) if not _alone(known[b.element])}
    harmonics = spectra(solution, outputs=outputs, thinned=thinned, spot_checked=spot_checked)
    return tuple(_loading(one, harmonics, known) for one in solution.components)


def _key(branch: Branch) -> Branch:
    return Branch(branch.element, branch.winding)


def _across(element: Element, branch: Branch) -> tuple[str, str]:
    return element.nodes[2:] if branch.winding == 2 else element.nodes[:2]  # type: ignore[return-value]


def _loading(one: Component, spectra: Spectra, known: Mapping[str, Element]) -> Loading:
    currents = tuple(_lines(spectra, ("i", _key(branch)), 1 / one.count) for branch in one.branches)
    voltages = tuple(_voltage(spectra, _key(branch), known[branch.element]) for branch in one.branches)
    direct = np.sum([np.reshape(branch.direct, (-1, 1)) ** 2 * branch.ohms for branch in one.branches], axis=0)
    pairs = zip(voltages, currents, strict=True)
    heat = np.sum([_power(u, i) for us, both in pairs for u, i in zip(us, both, strict=True)], axis=0)
    return Loading(one, currents, voltages, direct, heat)


def _voltage(spectra: Spectra, branch: Branch, element: Element) -> Lines:
    """Across a branch: its own impedance times its current, so that nodes inside a part need not be solved for."""
    if not _alone(element):
        return _lines(spectra, ("v", branch), 1.0)
    currents = _lines(spectra, ("i", branch), 1.0)
    return [(f, (element.function(f) if element.of_frequency else element.number) * current) for f, current in currents]


def _alone(element: Element) -> bool:
    """Whether its voltage is its own impedance times its current, and nothing else couples into it."""
    return element.kind in ("resistor", "immittance")


def _lines(spectra: Spectra, label: Any, share: float) -> Lines:
    lines = [(spectra.frequencies, spectra.whole(label))]
    lines += [(spectra.reflected_frequencies[s], c) for (at, s), c in spectra.reflected.items() if at == label]
    return [(frequencies, share * np.atleast_2d(c)) for frequencies, c in lines]


def _power(voltage: tuple[np.ndarray, np.ndarray], current: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return np.asarray(2 * np.sum(np.real(voltage[1] * np.conj(current[1])), axis=-1, keepdims=True))


def root_sum(lines: Lines) -> np.ndarray:
    """Root mean square (designs, 1) of all harmonics."""
    return np.asarray(np.sqrt(sum(2 * np.sum(np.abs(c) ** 2, axis=-1, keepdims=True) for _, c in lines)))


def peak(lines: Lines, direct: Value = 0.0) -> np.ndarray:
    """Largest magnitude (designs, 1) over a period, with a direct part; sources of other frequencies add their peaks."""
    (_, first), *others = lines
    return sum((largest_magnitude(c) for _, c in others), largest_magnitude(first, direct))


def integral(lines: Lines) -> Lines:
    """The integral over time, without its mean."""
    return [(frequencies, c / (2j * np.pi * frequencies)) for frequencies, c in lines]


def core_voltage(one: Loading, state: State) -> Lines:
    """Voltage across the core's inductance [V]: of a choke without its resistance, of the mean winding of two."""
    part, ohms = one.component.part, one.component.branches[0].ohms
    if not isinstance(part, CommonModeChoke):
        return [(f, u - ohms * i) for (f, u), (_, i) in zip(one.voltages[0], one.currents[0], strict=True)]
    name, pairs = one.component.name, zip(*one.currents, strict=True)
    inductance = part.magnetising_at(state.unbalance(name), state.current(name), state.temperature)
    return [(f, part.core_voltage(f, first, second, inductance)) for (f, first), (_, second) in pairs]
