"""Small invented designs for the tests: a 28 V converter, a filter of ordinary parts, a load."""

from __future__ import annotations

from typing import Any

from filterlib.system.design import Design


def film(capacitance: str = "1 µF", **more: Any) -> dict[str, Any]:
    """A film capacitor with plain losses, whose capacitance alone is uncertain."""
    given = {
        "capacitance": capacitance,
        "rated_voltage": "100 V",
        "loss_angle": 0.005,
        "esl": "5 nH",
        "tolerance": "5 %",
        "esl_tolerance": 0,
    }
    return {"kind": "film", **given, **more}


def shunt(capacitance: str = "1 µF", **more: Any) -> dict[str, Any]:
    """A capacitor across the lines."""
    return {"kind": "capacitor", "part": film(capacitance), "mounting_loop": "4 nH", **more}


def series(inductance: str = "10 µH", resistance: str = "10 mΩ", **more: Any) -> dict[str, Any]:
    """A differential choke in the plus line."""
    part = {
        "kind": "differential_choke", "inductance": inductance, "dc_resistance": resistance, "saturation_current": "30 A",
        "rated_current": "6 A", "winding_capacitance": "10 pF", "parallel_resistance": "3 kΩ", "tolerance": "10 %",
    }  # fmt: skip
    return {"kind": "differential_choke", "part": part, **more}


def common_mode(inductance: str = "1 mH", leakage: str = "10 µH", **more: Any) -> dict[str, Any]:
    """A common-mode choke whose leakage is that of the loop."""
    part = {
        "kind": "common_mode_choke", "inductance": inductance, "leakage": leakage, "leakage_measured": "loop",
        "tolerance": "25 %", "leakage_tolerance": "25 %", "saturation_current": "0.2 A", "leakage_saturation_current": "60 A",
        "rated_current": "8 A", "dc_resistance": "10 mΩ", "winding_capacitance": "12 pF", "interwinding_capacitance": "10 pF",
        "relaxation_frequency": "1 MHz", "leakage_resistance": "10 kΩ",
    }  # fmt: skip
    return {"kind": "common_mode_choke", "part": part, **more}


KNOWN = {
    "shape": "triangle",
    "duty": 0.45,
    "edge_time": "30 ns",
    "output_capacitance": "22 µF",
    "output_esr": "8 mΩ",
    "output_esl": "4 nH",
    "lead_inductance": "15 nH",
    "output_resistance": "20 mΩ",
    "loop_bandwidth": "9 kHz",
    "spike_share": 0,
}
"""What a `converter` states when nothing inside it is unknown."""


def converter(**more: Any) -> dict[str, Any]:
    """A converter of which only the ripple is known: 110 mV at 180 kHz."""
    given = {"name": "Tarn (invented)", "output_voltage": "28 V", "switching_frequency": "180 kHz"}
    return {**given, "ripple": {"peak_to_peak": "110 mV"}, **more}


def resistive(resistance: str = "7 ohm", **more: Any) -> dict[str, Any]:
    """A resistive load named modem."""
    return {"name": "modem", "kind": "resistive", "resistance": resistance, **more}


def design(*stages: dict[str, Any], source: dict[str, Any] | None = None, load: Any = None, **more: Any) -> Design:
    """A design of these stages, with one load or a list of them."""
    loads = load if isinstance(load, list) else [load or resistive()]
    return Design(name="test", converter=source or converter(), filter=list(stages), load=loads, **more)


DRIVEN = converter(
    input_voltage="24 V",
    shape="pulse",
    duty=0.3,
    edge_time="30 ns",
    common_mode={"swing": "28 V", "coupling": "100 pF"},
)
"""A step-up converter whose switching node drives the chassis."""
