"""What feeds the converter: keys, defaults with ranges, the gauge's size, and what is refused, all at once."""

import math

import pytest

from filterlib.errors import InputError
from filterlib.system.design import Design
from filterlib.system.file.files import read_design
from filterlib.system.inside.converter import Converter
from filterlib.system.inside.input_side import InputSide
from filterlib.system.inside.output_limit import OutputLimit
from filterlib.system.line.battery_side import Battery, BatterySide, Fuse, SupplyWire, Switch
from filterlib.system.line.load import Load
from filterlib.units import format_quantity, quantity

FILE = """
name = "plugged (invented)"
{sections}
[converter]
name = "Skerry (invented)"
{input}
output_voltage = "28 V"
switching_frequency = "150 kHz"
ripple = {{ peak_to_peak = "100 mV" }}
{converter}
[[load]]
name = "modem"
kind = "constant_power"
power = "84 W"
"""


def read(tmp_path, sections="", supply='input_voltage = "24 V"', converter=""):
    file = tmp_path / "design.toml"
    file.write_text(FILE.format(sections=sections, input=supply, converter=converter), encoding="utf-8")
    return read_design(file)


def refused(tmp_path, *args, **kwargs):
    with pytest.raises(InputError) as caught:
        read(tmp_path, *args, **kwargs)
    return {problem.key: problem.why for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("gauge", "milliohms"),
    [(10, 3.277), (12, 5.211), (14, 8.285), (16, 13.174), (18, 20.948), (20, 33.31), (24, 84.21)],
)
def test_resistance_of_the_gauges(gauge, milliohms):
    """ASTM B258 with copper of IEC 60028, milliohm a metre of one conductor: by hand."""
    assert float(SupplyWire(length="1 m", awg=gauge).resistance()) == pytest.approx(2e-3 * milliohms, rel=2e-4, abs=0)


def test_gauges_above_zero():
    """2/0 is the gauge -1: 9.266 mm (ASTM B258, by hand)."""
    area = SupplyWire(length="1 m", awg="2/0").cross_section.value
    assert math.sqrt(4 / math.pi * area) == pytest.approx(9.266e-3, rel=1e-4, abs=0)


def test_charges_and_melting():
    """By hand: 40 Ah are 144 kC; the superscript is read, and written."""
    assert quantity("40 Ah", "C") == 144e3
    assert quantity("1500 mAh", "C") == pytest.approx(5400, rel=1e-12, abs=0)
    assert quantity("60 A²s", "A2 s") == quantity("60 A2s", "A2 s") == 60
    assert format_quantity(60.0, "A2 s") == "60 A²s"


def test_defaults_have_ranges_and_follow_the_length(tmp_path):
    side = read(tmp_path, '[supply_wire]\nlength = "4 m"').battery_side
    wire = side.wire.inductance
    assert (wire.value, wire.low, wire.high) == pytest.approx((2.8e-6, 1.6e-6, 4.8e-6), rel=1e-12, abs=0)
    keys = [one.key for one in side.uncertain_parameters()]
    assert keys == [
        "battery.resistance", "battery.inductance", "battery.usable", "supply_wire.cross_section", "supply_wire.inductance",
        "fuse.resistance", "switch.resistance",
    ]  # fmt: skip
    assert not any(one.stated for one in side.uncertain_parameters())


def test_the_loop_adds_up():
    """By hand: 10 + 2 x 3 x 8.285 + 2 + 4/2 milliohm, and 0.2 + 1.5 uH."""
    side = BatterySide(
        Battery(resistance="10 mΩ", inductance="0.2 µH"), SupplyWire(length="3 m", awg=14, inductance="1.5 µH"),
        Fuse(resistance="2 mΩ"), Switch(kind="transistor", resistance="4 mΩ", count=2),
    )  # fmt: skip
    assert float(side.resistance) == pytest.approx(0.01 + 6 * 8.285e-3 + 0.002 + 0.002, rel=1e-4, abs=0)
    assert float(side.inductance) == pytest.approx(1.7e-6, rel=1e-12, abs=0)
    moved = side.at({"battery.resistance": 0.02, "converter.duty": 0.5})
    assert float(moved.resistance - side.resistance) == pytest.approx(0.01, rel=1e-9, abs=0)


def test_voltage_of_the_battery():
    converter = Converter(
        name="Skerry", input_voltage=24, output_voltage=28, switching_frequency=1e5, ripple={"peak_to_peak": 0.1}
    )
    found = Battery().volts(converter)
    assert (found.low, found.value, found.high, found.stated) == (21.0, 24.0, 28.8, False)  # hand: 87.5 % and 120 %
    assert Battery(voltage="12 V").volts(converter).value == 12


def test_everything_wrong_is_said_at_once(tmp_path):
    sections = """
[battery]
capacity = "40 A"
[supply_wire]
awg = "77 AWG"
[fuse]
rated_current = "2 A"
pulses = 0
[switch]
ramp = "1 ms"
"""
    found = refused(tmp_path, sections, converter='limit = { current = "5 A", hiccup_on = "2 ms" }')
    assert set(found) == {
        "battery.capacity", "supply_wire.awg", "fuse.rated_current", "fuse.pulses", "switch.ramp", "converter.limit.hiccup_on",
    }  # fmt: skip
    assert "no such gauge" in found["supply_wire.awg"]
    assert "3.5 A at 24 V" in found["fuse.rated_current"]  # hand: 84 W / 24 V


def test_a_limit_below_what_a_load_draws_between_its_bursts_is_refused(tmp_path):
    """hand: half of 84 W at 28 V are 1.5 A."""
    profile = 'profile = { idle = "50 %", burst = "1 s", period = "10 s", lowest_voltage = "22 V" }'
    file = tmp_path / "design.toml"

    def write(limit):
        text = FILE.format(sections="", input='input_voltage = "24 V"', converter=f'limit = {{ current = "{limit}" }}')
        file.write_text(text + profile, encoding="utf-8")
        return file

    with pytest.raises(
        InputError, match=r"converter.limit.current = '1.4 A': less than .* between their bursts, 1.5 A at 28 V"
    ):
        read_design(write("1.4 A"))
    assert read_design(write("1.6 A")).converter.limit.current.value == 1.6


def test_a_fuse_for_a_burst_is_judged_by_the_mean(tmp_path):
    """84 W for a tenth of the time and 8.4 W else are 15.96 W, 0.665 A at 24 V (hand): 1 A is not refused."""
    profile = 'profile = { idle = "10 %", burst = "1 s", period = "10 s", lowest_voltage = "22 V" }'
    file = tmp_path / "design.toml"
    text = (
        FILE.format(sections='[fuse]\nrated_current = "{} A"', input='input_voltage = "24 V"', converter="") + profile
    )
    file.write_text(text.replace("{} A", "1 A"), encoding="utf-8")
    assert read_design(file).fuse.rated_current == 1
    file.write_text(text.replace("{} A", "0.6 A"), encoding="utf-8")
    with pytest.raises(InputError, match=r"665 mA at 24 V"):
        read_design(file)


def test_a_battery_of_no_voltage(tmp_path):
    assert "nothing says at which voltage" in refused(tmp_path, "[switch]", supply="")["battery.voltage"]


def test_one_size_of_wire(tmp_path):
    found = refused(tmp_path, '[supply_wire]\nawg = 14\ncross_section = "2.5 mm2"')
    assert found == {"supply_wire.awg": "a wire has one size: leave out cross_section or awg"}


def test_input_capacitors_as_parts(tmp_path):
    """By hand: two parts of 10 uF and 4 milliohm at 100 kHz in parallel."""
    part = '{ kind = "film", capacitance = "10 µF", rated_voltage = "63 V", esr = "4 mΩ", esl = "10 nH" }'
    side = read(tmp_path, f"[input_side]\ncapacitors = [{{ part = {part}, count = 2 }}]").input_side
    assert side.capacitance.value == pytest.approx(20e-6, rel=1e-9, abs=0)
    assert side.capacitance.known
    found = refused(tmp_path, f'[input_side]\nesr = "1 mΩ"\ncapacitors = [{{ part = {part} }}]')
    assert "stated as parts" in found["input_side.esr"]
    assert "no part" in str(refused(tmp_path, '[input_side]\ncapacitors = [{ part = "class2-none" }]'))


def test_a_lock_out_that_never_runs():
    with pytest.raises(InputError, match="it would never run"):
        Load(name="modem", kind="constant_power", power="84 W", starts_at="20 V", stops_at="22 V")


def test_a_limit_that_folds_back_says_to_what():
    with pytest.raises(InputError, match="what is left at 0 V"):
        OutputLimit(current="5 A", kind="foldback")


def test_written_and_read_again(tmp_path):
    from filterlib.system.file.writing import design_toml

    sections = '[battery]\nvoltage = { low = "21 V", value = "24 V", high = "28 V" }\ncapacity = "40 Ah"\n[fuse]\nmelting_i2t = "60 A2s"\n[supply_wire]\nawg = "2/0"\n[switch]\nkind = "transistor"\nramp = "1 ms"'
    design = read(tmp_path, sections, converter='limit = { current = "5 A", kind = "hiccup" }')
    file = tmp_path / "copy.toml"
    file.write_text(design_toml(design), encoding="utf-8")
    assert read_design(file) == design
    assert isinstance(design, Design)
    assert InputSide().capacitors == ()
