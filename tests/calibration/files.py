"""What a user would write of a converter of the population, kind of knowledge by kind: design files and recordings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tests.calibration import scope
from tests.calibration.plants import Case
from tests.calibration.population import Branch, Capacitor, Choke, Draw

GAIN = 0.02  # share by which a scope's scale may be off
BRIDGE = 0.05  # to which a filter's part is known once it was measured
STATED = "20 %"  # of C and ESR inside, where they are stated
Keys = dict[str, Any]


@dataclass(frozen=True)
class Knowledge:
    """One kind: what its files say beside the converter's name plate; ``aim``: wanted median width, high over low."""

    readings: tuple[str, ...]
    aim: float
    measured: bool = False


KINDS = {
    "number": Knowledge(("number",), 25),
    "load": Knowledge(("number", "load"), 10),
    "spike": Knowledge(("number", "load", "shape", "spike"), 8),
    "inside": Knowledge(("number", "load", "shape", "spike", "inside"), 5),
    "rms": Knowledge(("number", "load", "shape", "spike", "inside", "rms"), 4),
    "line": Knowledge(("number", "load", "shape", "spike", "inside", "rms", "line"), 3),
    "recording": Knowledge(("recording", "load"), 2.6),
    "two": Knowledge(("recording", "second", "load", "shape", "spike"), 2),
    "two-measured": Knowledge(("recording", "second", "load", "shape", "spike"), 1.4, measured=True),
}


def write(case: Case, kind: str, folder: Path) -> Path:
    """The design file of one kind in a folder, with the recordings that it names."""
    known = KINDS[kind]
    design: Keys = {"format": 1, "name": f"Converter {case.number} of the population", "converter": plate(case)}
    for name in known.readings:
        READINGS[name](case, design["converter"], folder)
    design |= {"filter": stages(case, known.measured), "load": [load(case, known.measured)]}
    design |= {"coupling": couplings(case, known.measured)}
    path = folder / "design.toml"
    path.write_text(toml(design), encoding="utf-8")
    return path


def plate(case: Case) -> Keys:
    """What a name plate, a data sheet and a look at the cabinet say."""
    c = case.converter
    keys: Keys = {
        "name": f"{c.topology} (invented)",
        "input_voltage": volts(c.input_voltage),
        "output_voltage": volts(c.output_voltage),
        "switching_frequency": text(c.frequency, "Hz", 4),
        "isolated": c.isolated,
        "ripple": {"bandwidth": "20 MHz", "order": case.order},
    }
    if c.chassis is not None:
        draw, way = Draw(case.seed, case.number, 3), c.chassis
        ends = {"low": way.coupling * draw.even(0.5, 1.0), "high": way.coupling * draw.even(1.0, 2.0)}
        keys["measured_with"] = [bench_load(case)]
        keys["common_mode"] = {
            "swing": f"{text(draw.near(c.node_swing, 0.15), 'V', 3)} ± 20 %",
            "coupling": {end: text(value, "F", 3) for end, value in ends.items()},
        }
        strap = {"inductance": draw.near(way.strap.inductance, 0.1), "resistance": way.strap.resistance}
        if c.isolated:
            keys["supply"] = {"inductance": f"{text(strap['inductance'], 'H', 3)} ± 30 %", "bond": {"inductance": 0.0}}
        else:
            keys["bond"] = {
                "inductance": text(strap["inductance"], "H", 3),
                "resistance": text(strap["resistance"], "ohm", 2),
            }
    return keys


def bench_load(case: Case) -> Keys:
    """What stood on the bench while the figures were measured: a resistor on its own leads, which floats."""
    c = case.converter
    keys: Keys = {"name": "bench", "kind": "resistive", "resistance": text(c.output_voltage / c.current, "ohm", 4)}
    lead = {"length": "0.5 m", "cross_section": "1.5 mm2", "spacing": "5 mm"}
    return keys | {"lead": lead, "stray_capacitance": "0 F"}


def read(case: Case, value: float, which: int) -> str:
    """A scope's figure: its scale is off by up to `GAIN`, and three digits are written down."""
    return text(value * Draw(case.seed, case.number, 1, which).near(1.0, GAIN), "V", 3)


def _number(case: Case, converter: Keys, folder: Path) -> None:
    converter["ripple"]["peak_to_peak"] = read(case, scope.peak_to_peak(case.limited(case.terminals)), 0)


def _load_current(case: Case, converter: Keys, folder: Path) -> None:
    converter["ripple"]["load_current"] = text(case.converter.current, "A", 3)


def _shape(case: Case, converter: Keys, folder: Path) -> None:
    converter["shape"] = case.converter.shape


def _spike(case: Case, converter: Keys, folder: Path) -> None:
    """In 200 MHz, with the frequency of the ring where the scope shows one."""
    spike = {"peak_to_peak": read(case, scope.peak_to_peak(case.wide(case.terminals)), 1), "bandwidth": "200 MHz"}
    spike["load_current"] = text(case.converter.current, "A", 3)
    if case.converter.ring is not None:
        seen = Draw(case.seed, case.number, 2).near(case.converter.ring.frequencies[0], 0.1)
        spike["ring_frequency"] = f"{text(seen, 'Hz', 2)} ± 30 %"
    converter["spike"] = spike


def _inside(case: Case, converter: Keys, folder: Path) -> None:
    """C and ESR as a bridge reads them at the terminals: C at 10 kHz, ESR at the ripple's frequency."""
    draw = Draw(case.seed, case.number, 4)
    low, high = case.inner(np.array([10e3, case.converter.frequency]))
    capacitance = -1 / (2 * np.pi * 10e3 * low.imag)
    if capacitance < 0:  # behind a second LC a bridge reads an inductance there, and one states neither
        return
    converter["output_capacitance"] = f"{text(draw.near(capacitance, 0.12), 'F', 3)} ± {STATED}"
    converter["output_esr"] = f"{text(draw.near(high.real, 0.12), 'ohm', 3)} ± {STATED}"


def _rms(case: Case, converter: Keys, folder: Path) -> None:
    converter["ripple"]["rms"] = read(case, scope.rms(case.limited(case.terminals)), 5)


def _line(case: Case, converter: Keys, folder: Path) -> None:
    """Peak amplitude of the line at the ripple's frequency."""
    at = round(case.converter.frequency / case.converter.base) - 1
    converter["ripple"]["fundamental"] = read(case, 2 * abs(case.limited(case.terminals)[at]), 6)


def _recording(case: Case, converter: Keys, folder: Path) -> None:
    _save(case, case.terminals, folder / "terminals.csv", 7)
    converter["ripple"]["recording"] = "terminals.csv"


def _second(case: Case, converter: Keys, folder: Path) -> None:
    """With the filter's first capacitor across the terminals, known to 2 % in C, 5 % in ESR and 15 % in inductance."""
    _save(case, case.with_capacitor, folder / "with-capacitor.csv", 8)
    draw, part = Draw(case.seed, case.number, 9), case.filter.first
    farads, ohms = case.bridged(part)
    converter["ripple"]["with_capacitor"] = {
        "recording": "with-capacitor.csv",
        "capacitance": text(draw.near(farads, 0.02), "F", 4),
        "esr": text(draw.near(ohms, 0.05), "ohm", 3),
        "esl": text(draw.near(part.true.esl + part.loop, 0.15), "H", 3),
        "stage": "C1",
    }


def _save(case: Case, harmonics: np.ndarray, path: Path, which: int) -> None:
    gain = Draw(case.seed, case.number, 1, 0).near(1.0, GAIN)
    seed = 100 * case.number + which
    written = scope.recording(gain * case.limited(harmonics), 1 / case.converter.base, seed, bandwidth=20e6)
    path.write_text(written, encoding="utf-8")


READINGS: dict[str, Callable[[Case, Keys, Path], None]] = {
    "number": _number, "load": _load_current, "shape": _shape, "spike": _spike, "inside": _inside, "rms": _rms,
    "line": _line, "recording": _recording, "second": _second,
}  # fmt: skip


def stages(case: Case, measured: bool) -> list[Keys]:
    """The filter as its data sheets have it, or its parts as they were measured."""
    first, second = (
        {
            "kind": "capacitor",
            "name": name,
            "part": capacitor(case, part, measured, n),
            **mounting(case, part, measured, n),
        }
        for n, (name, part) in enumerate((("C1", case.filter.first), ("C2", case.filter.second)))
    )
    choke = {"kind": case.filter.choke.kind, "name": "L1", "part": choke_keys(case, measured)}
    if case.filter.choke.kind == "differential_choke":
        choke["line"] = "plus"
    return [first, choke, second]


def capacitor(case: Case, part: Capacitor, measured: bool, which: int) -> Keys:
    draw, values, tolerance = Draw(case.seed, case.number, 10, which), part.stated, part.tolerance
    if measured:
        true = part.true
        values = Branch(
            draw.near(true.capacitance / part.left, BRIDGE), *(draw.near(v, BRIDGE) for v in (true.esr, true.esl))
        )
        tolerance = BRIDGE
    rated = 3 * case.converter.output_voltage
    keys: Keys = {
        "kind": part.kind,
        "capacitance": text(values.capacitance, "F", 4),
        "tolerance": f"{100 * tolerance:g} %",
        **({"esr_tolerance": f"{100 * BRIDGE:g} %", "esl_tolerance": f"{100 * BRIDGE:g} %"} if measured else {}),
        "rated_voltage": volts(rated),
        "loss_angle": part.loss,
        "esr": text(values.esr, "ohm", 3),
        "esl": text(values.esl, "H", 3),
    }
    if part.kind == "ceramic_class_2":
        ends = [["0 V", 1.0], [volts(case.converter.output_voltage), round(part.left, 4)]]
        keys["bias_curve"] = [*ends, [volts(rated), round(part.left / 2, 4)]]
    return keys


def mounting(case: Case, part: Capacitor, measured: bool, which: int) -> Keys:
    """The loop in which a capacitor stands, where that was measured with it."""
    if not measured:
        return {}
    loop = Draw(case.seed, case.number, 13, which).near(part.loop, BRIDGE)
    return {"mounting_loop": f"{text(loop, 'H', 3)} ± {100 * BRIDGE:g} %"}


def choke_keys(case: Case, measured: bool) -> Keys:
    choke = case.filter.choke
    draw, current = Draw(case.seed, case.number, 11), case.converter.current
    value = draw.near(choke.true.inductance, BRIDGE) if measured else choke.stated.inductance
    tolerance = f"{100 * (BRIDGE if measured else choke.tolerance):g} %"
    across, loss = choke.across[measured], choke.loss[measured]
    keys: Keys = {
        "kind": choke.kind,
        "rated_current": text(3 * current, "A", 3),
        "saturation_current": text(100 * current, "A", 3),
        "dc_resistance": text(choke.stated.resistance / (2 if choke.common else 1), "ohm", 3),
        "winding_capacitance": text(across, "F", 3),
    }
    return keys | _inductances(choke, value, tolerance, loss)


def _inductances(choke: Choke, value: float, tolerance: str, loss: float) -> Keys:
    if not choke.common:
        return {"inductance": text(value, "H", 4), "tolerance": tolerance, "parallel_resistance": text(loss, "ohm", 3)}
    return {
        "inductance": text(choke.common, "H", 4),
        "leakage": text(value, "H", 4),
        "leakage_measured": "loop",
        "leakage_tolerance": tolerance,
        "leakage_resistance": text(loss, "ohm", 3),
        "relaxation_frequency": "1 MHz",
    }


def couplings(case: Case, measured: bool) -> list[Keys]:
    """Of the capacitors' loops, where the layout was computed: to 30 %; measured, to `BRIDGE`. Else nothing is stated."""
    if not (case.filter.computed or measured):
        return []
    share = BRIDGE if measured else 0.3
    mutual = Draw(case.seed, case.number, 12).near(case.filter.mutual, 0.7 * share)
    return [{"first": "C1", "second": "C2", "mutual": f"{text(mutual, 'H', 3)} ± {100 * share:g} %"}]


def load(case: Case, measured: bool) -> Keys:
    one, c = case.load, case.converter
    keys: Keys = {
        "name": "receiver",
        "kind": one.kind,
        "lead": {
            "length": text(one.length, "m", 3),
            "tolerance": "8 %",
            "cross_section": f"{one.section * 1e6:g} mm2",
            "spacing": text(one.spacing, "m", 3),
        },
    }
    drawn = {
        "resistive": ("resistance", text(c.output_voltage / c.current, "ohm", 4)),
        "constant_current": ("current", text(c.current, "A", 4)),
        "constant_power": ("power", text(c.output_voltage * c.current, "W", 4)),
    }
    keys |= [drawn[one.kind]]
    if one.kind == "constant_power":
        keys["loop_bandwidth"] = text(one.loop_bandwidth, "Hz", 3)
    if one.capacitor is not None:
        keys["input_capacitor"] = {
            "part": capacitor(case, one.capacitor, measured, 2), **mounting(case, one.capacitor, measured, 2)
        }  # fmt: skip
    if c.chassis is not None and c.chassis.load_bond is not None:
        bond = c.chassis.load_bond
        keys["bond"] = {"inductance": text(bond.inductance, "H", 3), "resistance": text(bond.resistance, "ohm", 2)}
    return keys


def text(value: float, unit: str, digits: int) -> str:
    """A number with its unit; exponents are read as well as prefixes."""
    return f"{value:.{digits}g} {unit}"


def volts(value: float) -> str:
    return f"{value:g} V"


def toml(design: Keys) -> str:
    """A design file: sections of one level, what is below them inline."""
    lines = [f"{key} = {inline(value)}" for key, value in design.items() if not isinstance(value, dict | list)]
    lines += ["", "[converter]"]
    lines += [f"{key} = {inline(value)}" for key, value in design["converter"].items()]
    for key in ("filter", "load", "coupling"):
        for entry in design[key]:
            lines += ["", f"[[{key}]]", *(f"{name} = {inline(value)}" for name, value in entry.items())]
    return "\n".join(lines) + "\n"


def inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {inline(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(inline(one) for one in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value!r}"
