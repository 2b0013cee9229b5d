"""Keys that people write where a design file has none: what each would be here, and where that belongs."""

from __future__ import annotations

from collections.abc import Mapping

_SUPPLY = (
    "what feeds the converter is input_voltage in [converter]; its cable and bond to the chassis are [converter.supply]"
)
_STAGE = 'each part of the filter has its own [[filter]], such as kind = "capacitor" with part = { kind = "film", ... }'
_CONVERTER = "this belongs to the converter: [converter.{}]"
_REQUIREMENT = 'what must hold is a [[requirement]], such as kind = "ripple", load = "modem", limit = "15 mV"'
_MEASURED = "how a figure was read belongs to that figure: [converter.ripple] or [converter.spike]"
_PART = "this belongs to the part: part = { {} = ... }, or the name of one in a table"


def _all(words: str, *keys: str) -> dict[str, str]:
    return {key: words.replace("{}", key) for key in keys}


DESIGN: Mapping[str, str] = {
    **_all(_SUPPLY, "accumulator", "supply", "source", "psu", "mains", "input"),
    **_all(_STAGE, "capacitor", "capacitors", "choke", "chokes", "inductor", "inductors", "filters", "stage", "stages"),
    **_all(_CONVERTER, "ripple", "spike", "rating", "common_mode", "burst"),
    **_all(_REQUIREMENT, "limit", "limits", "requirements", "spec", "specification"),
    **_all(_MEASURED, "scope", "oscilloscope", "probe", "measurement", "bandwidth"),
    **_all("what the filter feeds is a [[load]]", "output", "loads", "modem", "device", "consumer"),
    **_all(
        'a pair of wires is a [[filter]] with kind = "wire", or lead of a [[load]]', "wire", "cable", "lead", "wires"
    ),
    **_all("the temperature of all parts is that of an [[operating_point]]", "temperature", "ambient"),
    **_all(
        "chassis = false where there is none; bonds are those of converter and load",
        "earth",
        "ground",
        "case",
        "enclosure",
    ),
    **_all(
        'parts are stated where they are used; files of your own are named by tables = ["own.toml"]',
        "part",
        "parts",
        "table",
    ),
    **_all("the title of the review is name, a remark is note", "title", "description", "comment", "project"),
}
"""Of the file itself."""
CONVERTER: Mapping[str, str] = {
    **_all("what it may deliver is [converter.rating]; while the ripple was read it was load_current in [converter.ripple]", "current", "output_current", "power", "output_power"),
    **_all("did you mean switching_frequency?", "frequency", "fsw", "switching"),
    **_all("did you mean output_voltage or input_voltage?", "voltage"),
    **_all("of the capacitor inside it is output_{}", "capacitance", "esr", "esl"),
    **_all("this belongs to [converter.ripple], or to [converter.spike] for the reading with spikes", "peak_to_peak", "bandwidth", "rms", "load_current"),
    **_all("this belongs outside: [[{}]]", "filter", "load", "requirement"),
    **_all('did you mean shape? "pulse" for step-up and flyback, "triangle" for step-down and forward', "kind", "type", "topology"),
}  # fmt: skip
"""Of [converter]."""
LOAD: Mapping[str, str] = {
    **_all(_REQUIREMENT, "limit", "ripple_limit", "requirement"),
    **_all('the voltage that a load allows is a [[requirement]] with kind = "voltage"', "voltage"),
    **_all(
        "a capacitor across its input is input_capacitor = { part = ... }",
        "capacitor",
        "capacitance",
        "input_capacitance",
    ),
    **_all("wires to it are its lead", "cable", "wire"),
}
"""Of a [[load]]."""
STAGE: Mapping[str, str] = _all(
    _PART, "capacitance", "inductance", "rated_voltage", "rated_current", "dc_resistance", "esr", "esl", "leakage", "loss_angle", "tolerance", "value"
)  # fmt: skip
"""Of a [[filter]]."""
