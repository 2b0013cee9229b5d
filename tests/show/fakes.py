"""A small made-up review of a small made-up design: shapes as the analysis gives them, numbers that look real.

The numbers are invented and are checked by nobody; what is tested with them is how results are shown.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from filterlib.analysis.judged import Judgement
from filterlib.analysis.linear.linear_result import BodeResult, ImpedanceResult, InsertionResult, StepsResult
from filterlib.analysis.review_result import PointResult, ReviewResult
from filterlib.analysis.ripple.ripple_result import Figure, RippleResult, Sensitivity
from filterlib.analysis.stability.stability_result import OperatingResult, Stability
from filterlib.analysis.stress.stress_check import Basis, Heat, StressCheck, StressResult
from filterlib.analysis.verdict import Verdict
from filterlib.parts.capacitor import Capacitor
from filterlib.parts.choke import DifferentialChoke
from filterlib.parts.common_mode_choke import CommonModeChoke
from filterlib.parts.wire import WirePair
from filterlib.system.design import Design
from filterlib.system.ranges.uncertain_parameter import UncertainParameter

NAN = float("nan")
SWITCHING = 180e3
POLES = np.array([-1e3 + 0j, -2e4 + 3e5j, -2e4 - 3e5j])
STABLE = Stability(True, POLES, "poles", 52e3, 3.1)
UNSTABLE = Stability(False, POLES, "poles", 52e3, count=2, growth=1e-4)


LEAD = {"length": "2 m", "cross_section": "1.5 mm2", "spacing": "4 mm"}


def design(load_names=("modem", "logger"), *, name="Tide gauge, every stage", repeats=1, chassis=True):
    """A checked design with every kind of stage, ``repeats`` times over; loads of every kind in turn."""
    film = Capacitor(
        name="film 1 µF (invented)", kind="film", capacitance="1 µF", rated_voltage="63 V", loss_angle=0.01, esl="10 nH"
    )
    small, bulk = (
        film.replace(capacitance=4.7e-9),
        film.replace(kind="aluminium", capacitance=47e-6, name="bulk (invented)"),
    )
    choke = DifferentialChoke(
        name="drum 10 µH (invented)",
        inductance="10 µH",
        saturation_current="6 A",
        rated_current="5 A",
        dc_resistance="20 mΩ",
        self_resonance="20 MHz",
    )
    ring = CommonModeChoke(
        name="ring 1 mH (invented)",
        inductance="1 mH",
        leakage="10 µH",
        leakage_measured="loop",
        rated_current="5 A",
        saturation_current="30 mA",
        dc_resistance="12 mΩ",
        relaxation_frequency="1 MHz",
    )
    stages = [
        {"kind": "capacitor", "part": film, "count": 2},
        {"kind": "capacitor_to_chassis", "part": small},
        {"kind": "common_mode_choke", "part": ring},
        {"kind": "differential_choke", "part": choke, "line": "both"},
        {"kind": "differential_choke", "part": choke},
        {"kind": "damping", "part": bulk, "resistance": 0.47},
        {"kind": "capacitor", "part": film},
        {"kind": "wire", "part": WirePair(**LEAD)},
    ]
    first = {"kind": "constant_power", "power": 28.0, "lead": WirePair(**LEAD), "input_capacitor": {"part": bulk}}
    kinds = [first, {"kind": "resistive", "resistance": 120.0}, {"kind": "constant_current", "current": 0.5}]
    loads = [{"name": load, **kinds[k % 3]} for k, load in enumerate(load_names)]
    converter = {
        "name": "KD-28 (invented)",
        "output_voltage": 28.0,
        "switching_frequency": SWITCHING,
        "isolated": True,
        "ripple": {"peak_to_peak": 0.11},
    }
    if chassis:
        converter |= {"common_mode": {"swing": "60 V"}, "bond": {}}
        loads[0]["bond"] = {}
    else:
        stages = [stage for stage in stages if stage["kind"] != "capacitor_to_chassis"]
    note = "24 V battery on a harbour wall; the converter feeds a satellite modem and a logger."
    points = [{"name": "idle", "load": 0.1}, {"name": "full"}]
    return Design(
        name=name, note=note, converter=converter, filter=stages * repeats, load=loads, operating_point=points
    )


def renamed(whole, text):
    """The design with a text in every place that holds a name or a note, checks left aside."""
    stages = tuple(
        s.model_copy(update={"name": text, "part": s.part.model_copy(update={"name": text})}) for s in whole.filter
    )
    loads = tuple(load.model_copy(update={"name": text, "note": text}) for load in whole.loads)
    converter = whole.converter.model_copy(update={"name": text})
    return whole.model_copy(
        update={"name": text, "note": text, "converter": converter, "filter": stages, "loads": loads}
    )


def ripple(loads=("modem", "logger"), *, point="full", worse=1.0):
    """A ripple result with a triangle and ringing edges."""
    count, harmonics = 2000, 400
    times = np.arange(count) / count / SWITCHING
    phase = times * SWITCHING
    triangle = np.abs(2 * phase - 1) - 0.5
    ring = sum(
        np.where(phase >= edge, 1, 0) * np.exp(-(phase - edge) * 90) * np.sin(2 * np.pi * 270 * (phase - edge))
        for edge in (0.02, 0.48)
    )
    places = ["terminals_before", "terminals"]
    sizes = {"terminals_before": (0.11, 0.6), "terminals": (0.06, 0.4)}
    for k, load in enumerate(loads):
        places += [load, f"{load}_before"]
        sizes[load] = (0.0072 * worse / (k + 1), 0.004 * worse)
        sizes[f"{load}_before"] = (0.105, 0.55)
    figures, waveforms = {}, {}
    spectra = {}
    n = np.arange(1, harmonics + 1)
    for place, (slow, fast) in sizes.items():
        for label, scale in (("20MHz", 0.3), ("full", 1.0)):
            wave = slow * triangle + scale * fast * ring
            waveforms[place, label] = wave
            size = float(np.ptp(wave))
            by_source = {"ripple": slow, "spike": scale * fast, "common_mode": 0.05 * slow}
            figures[place, label] = Figure(
                peak_to_peak=size,
                rms=float(np.std(wave)),
                low=0.6 * size if "before" not in place else NAN,
                high=1.5 * size if "before" not in place else NAN,
                by_source=by_source,
                reduction={"ripple": size - scale * fast, "spike": size - slow, "common_mode": 0.0},
            )
        spectra[place] = (slow * 0.4 / n**2 + fast * 0.02 / (1 + ((n - 270) / 20) ** 2)) * np.exp(1j * n)
    uncertain_parameters = (
        Sensitivity(
            key="converter.output_capacitance",
            label="capacitance inside the converter",
            unit="F",
            nominal=22e-6,
            low=4.7e-6,
            high=220e-6,
            pp_at_low=0.0061,
            pp_at_high=0.0105,
            share=0.7,
            measurement="an impedance sweep at the converter's terminals, 10 kHz to 1 MHz",
        ),
        Sensitivity(
            key="converter.output_esr",
            label="ESR inside the converter",
            unit="ohm",
            nominal=10e-3,
            low=2e-3,
            high=80e-3,
            pp_at_low=0.0072,
            pp_at_high=0.0079,
            share=0.2,
            measurement="the same sweep",
        ),
        Sensitivity(
            key="converter.shape",
            label="shape of the switching current",
            unit="",
            nominal=NAN,
            low=NAN,
            high=NAN,
            pp_at_low=0.0070,
            pp_at_high=0.0086,
            share=0.1,
            measurement="which kind of converter it is",
        ),
    )
    return RippleResult(
        point=point,
        switching_frequency=SWITCHING,
        places=tuple(places),
        figures=figures,
        times=times,
        waveforms=waveforms,
        partial={},
        frequencies=SWITCHING * n,
        spectra=spectra,
        spectra_by_source={},
        uncertain_parameters=uncertain_parameters,
        largest_factor=3.1,
        largest_factor_frequency=1.4e6,
        trusted_to=30e6,
        reason=None,
    )


def unstable_ripple(point="full"):
    """What the analysis gives where there is no steady state."""
    return RippleResult(point, SWITCHING, reason=UNSTABLE)


def bode(load="modem", point="full"):
    """Second-order low-pass ratios."""
    f = np.geomspace(10, 1e8, 400)
    h = 1 / (1 + 1j * f / 50e3 / 3 - (f / 50e3) ** 2)
    return BodeResult(
        point=point,
        load=load,
        frequencies=f,
        load_over_source=h,
        load_over_terminals=h * 1.05,
        with_over_without=h * 0.9,
        resonances=((50e3, 9.5, "raises"),),
    )


def impedance(load="modem", point="full"):
    """Impedances of plausible size."""
    f = np.geomspace(10, 1e8, 400)
    w = 2j * np.pi * f
    own = 1 / (1 / (0.02 + w * 10e-6) + w * 2e-6)
    return ImpedanceResult(
        point=point,
        load=load,
        frequencies=f,
        seen_by_load=own,
        seen_by_converter=1 / (w * 2e-6) + w * 1e-8,
        load_input=-28.0 + 0 * w,
    )


def insertion(loads=("modem", "logger"), point="full", *, driven=True):
    """Curves of plausible size."""
    f = np.geomspace(10, 1e8, 400)
    loss = 20 * np.log10(np.abs(1 + 1j * f / 10e3))
    tested = {"50/50": loss, "0.1/100": loss / 2, "100/0.1": 0.4 * loss}
    return InsertionResult(
        point=point,
        frequencies=f,
        symmetrical=tested,
        asymmetrical={name: level / 2 for name, level in tested.items()},
        real_symmetrical=dict.fromkeys(loads, 0.7 * loss - 3),
        real_asymmetrical=dict.fromkeys(loads, 0.3 * loss - 2) if driven else {},
        converter_impedance=0.02 + 1j * f * 1e-7,
        load_impedance=0.3 + 1j * f * 1e-7,
    )


def steps(load="modem", point="full"):
    """A ringing step."""
    t = np.linspace(0, 200e-6, 500)
    ring = np.exp(-t / 30e-6) * np.cos(2 * np.pi * 50e3 * t)
    return StepsResult(
        point=point,
        load=load,
        rise_time=1e-6,
        times=t,
        converter_step=1 - ring,
        load_step=-0.02 + 0.02 * ring,
        step_current=1.0,
        overshoot=0.72,
        load_dip=0.037,
        settling_time=120e-6,
        reason=None,
    )


def no_steps(load="modem", point="full"):
    """What the analysis gives where the circuit is unstable."""
    nothing = np.zeros(0)
    return StepsResult(
        point=point,
        load=load,
        rise_time=1e-6,
        times=nothing,
        converter_step=nothing,
        load_step=nothing,
        step_current=NAN,
        overshoot=NAN,
        load_dip=NAN,
        settling_time=NAN,
        reason=UNSTABLE,
    )


def operating(point="full", *, scale=1.0, stable=True, loads=("modem", "logger")):
    """DC voltages and currents."""
    return OperatingResult(
        point=point,
        temperature=298.15,
        load_scale=dict.fromkeys(loads, scale),
        terminal_voltage=27.98,
        load_voltages=dict.fromkeys(loads, 27.9),
        load_currents=dict.fromkeys(loads, scale),
        load_powers=dict.fromkeys(loads, 27.9 * scale),
        drops=dict.fromkeys(loads, 0.1),
        currents={"L11": 1.2},
        unbalances={"L11": 0.0},
        biases={"C11": 27.9},
        converter_current=1.2,
        stability=STABLE if stable else UNSTABLE,
        notes=(),
        state=None,
    )


def stress_check(what="ripple current", unit="A", value=0.5, limit=2.0, **changes):
    """A stress of the first capacitor, within its rating."""
    values = {
        "name": "C11",
        "part": "C11",
        "what": what,
        "unit": unit,
        "value": value,
        "low": 0.9 * value,
        "high": 1.2 * value,
        "limit": limit,
        "at_least": False,
        "depends_on": "",
        "basis": Basis("ripple rms"),
    }
    return StressCheck(**values | changes)


def stress(point="full", scale=1.0):
    """One of each verdict, on one capacitor and one choke."""
    checks = (
        stress_check(value=0.5 * scale),
        stress_check("voltage", "V", 28.0, 24.0),
        stress_check("temperature rise", "K", NAN, NAN,
                     basis=Basis("highest temperature", "thermal_resistance")),
        stress_check("life", "s", 3.6e8, NAN, at_least=True,
                     basis=Basis("life", "service_life")),
        stress_check("peak current", "A", 5.0 * scale, 5.5, name="L11", part="L11",
                     depends_on="converter.output_esr", label="ESR inside the converter",
                     basis=Basis("magnetising peak")),
    )  # fmt: skip
    heats = (
        Heat("C11", "C11", 3, 0.0, 0.02 * scale, NAN, NAN),
        Heat("L11", "L11", 1, 0.4 * scale, 0.01, 0.003, 22.0 * scale),
    )
    return StressResult(point, checks, heats)


def verdict(word="met", load="modem", **changes):
    """A verdict on the modem's ripple."""
    values = {
        "requirement": f"ripple at {load}, 20 MHz, at most 15 mV peak to peak",
        "kind": "ripple",
        "load": load,
        "limit": 0.015,
        "unit": "V",
        "value": 0.0083,
        "low": 0.005,
        "high": 0.0125,
        "point": "full",
        "verdict": word,
        "depends_on": "converter.output_capacitance" if word == "undecided" else "",
        "margin": 0.2,
        "label": "capacitance inside the converter",
        "band": "20MHz",
    }
    return Verdict(**values | changes)


def review(loads=("modem", "logger"), *, stable=True, words=("met", "undecided", "not met"), **changes):
    """The whole of a review, two operating points."""
    points, made = [], design(loads)
    for point, scale in (("idle", 0.1), ("full", 1.0)):
        fine = stable or point == "idle"
        points.append(
            PointResult(
                solution=SimpleNamespace(design=made, state=SimpleNamespace(load_currents={}, input_voltage=None)),
                emissions=(),
                operating=operating(point, scale=scale, stable=fine, loads=loads),
                bode={load: bode(load, point) for load in loads},
                impedance={load: impedance(load, point) for load in loads},
                insertion=insertion(loads, point),
                ripple=ripple(loads, point=point, worse=scale) if fine else unstable_ripple(point),
                steps={load: steps(load, point) if fine else no_steps(load, point) for load in loads},
                stress=stress(point, scale) if fine else StressResult(point, reason=UNSTABLE),
            )
        )
    values = {
        "design": made,
        "points": tuple(points),
        "verdicts": tuple(verdict(word, loads[0]) for word in words),
        "assumed": (
            UncertainParameter(
                "converter.output_esr",
                "ESR inside the converter",
                "ohm",
                10e-3,
                2e-3,
                80e-3,
                False,
                "ceramics a few milliohm, electrolytics tens (common practice, no source)",
            ),
        ),
        "stored_energy": 0.035,
    }
    values |= changes
    judged = {name: values.pop(name) for name in _JUDGED if name in values}
    return ReviewResult(judgement=Judgement(**judged), **values)


_JUDGED = ("design", "points", "verdicts", "lives", "exceeded")


def changed(whole, **changes):
    """The review with other parts, those of its judgement included."""
    judged = {name: changes.pop(name) for name in _JUDGED if name in changes}
    return replace(whole, judgement=replace(whole.judgement, **judged), **changes)


def relabelled(whole, text):
    """The review with its first load under another name in every result, checks left aside."""
    old = whole.points[0].bode and next(iter(whole.points[0].bode))

    def renamed_key(key):
        if isinstance(key, tuple):
            return tuple(map(renamed_key, key))
        return {old: text, f"{old}_before": f"{text}_before"}.get(key, key)

    def moved(value):
        if isinstance(value, dict):
            return {renamed_key(key): one for key, one in value.items()}
        return value

    points = []
    for point in whole.points:
        found = {name: moved(getattr(point, name)) for name in ("bode", "impedance", "steps")}
        inserted = {name: moved(value) for name, value in vars(point.insertion).items()}
        ripples = {name: moved(value) for name, value in vars(point.ripple).items()}
        operating = {name: moved(value) for name, value in vars(point.operating).items()}
        places = tuple(map(renamed_key, point.ripple.places))
        points.append(
            PointResult(
                solution=point.solution,
                emissions=point.emissions,
                operating=OperatingResult(**operating),
                insertion=InsertionResult(**inserted),
                ripple=RippleResult(**ripples | {"places": places}),
                stress=point.stress,
                **found,
            )
        )
    loads = (whole.design.loads[0].model_copy(update={"name": text}),)
    verdicts = tuple(replace(one, load=text) if one.load == old else one for one in whole.verdicts)
    return changed(
        whole, points=tuple(points), verdicts=verdicts, design=whole.design.model_copy(update={"loads": loads})
    )
