"""Every key of every model at both ends of its documented range, alone and in pairs, through reading, through every piece, or a whole command."""

import contextlib
import copy
import io
import json
import random
import warnings
from functools import cache
from xml.etree import ElementTree

from filterlib import cli, load_design
from filterlib.errors import FilterlibError
from tests.fuzz.ends import at_ends, held
from tests.fuzz.reading import in_time, outcome
from tests.show.parsed import Page
from tests.system.test_bad_input import TREE, get, key_of, written

RARE = {  # what the complete design file has no place for: tables that exclude each other there, and keys of their own
    "name": "rare",
    "converter": {
        "name": "Fell (invented)", "input_voltage": "24 V", "output_voltage": "28 V", "switching_frequency": "180 kHz", "shape": "pulse",
        "duty": "40 %", "burst_below": "0.5 A", "output_resistance": "15 mΩ", "loop_bandwidth": "9 kHz",
        "ripple": {"peak_to_peak": "110 mV", "bandwidth": "20 MHz", "load_current": "2 A"},
        "rating": {"output_current": "3 A", "output_power": "84 W", "derating": [["50 °C", 1.0], ["70 °C", 0.5]]},
        "burst": {"pulses": 4, "period": "200 µs", "peak": "5 A"},
        "common_mode": {"swing": "28 V", "coupling": "30 pF"},
    },
    "filter": [
        {"kind": "capacitor", "name": "C1", "part": {"kind": "ceramic_class_2", "capacitance": "2.2 µF", "rated_voltage": "50 V"}},
        {"kind": "common_mode_choke", "part": {
            "kind": "common_mode_choke", "inductance": "1 mH", "leakage": "10 µH", "leakage_measured": "loop", "dc_resistance": "12 mΩ", "rated_current": "5 A"}},
        {"kind": "damping", "part": {"kind": "aluminium", "capacitance": "47 µF", "rated_voltage": "63 V", "esr": "0.5 ohm"}, "resistance": "1 ohm"},
        {"kind": "differential_choke", "part": "dm-10u-6A"},
        {"kind": "capacitor", "name": "C2", "part": {"kind": "polymer", "capacitance": "100 µF", "rated_voltage": "35 V", "esr": "20 mΩ"}},
    ],
    "load": [
        {"name": "modem", "kind": "constant_power", "power": "35 W",
         "profile": {"idle": "15 %", "burst": "5 ms", "period": "2 s", "lowest_voltage": "22 V"}},
        {"name": "heater", "kind": "resistive", "resistance": "200 ohm"},
    ],
    "service_life": "60000 h",
    "operating_point": [{"name": "on", "load": "100 %", "share_of_time": "20 %", "age": "20000 h"},
                        {"name": "off", "load": "20 %", "share_of_time": "80 %", "input_voltage": "20 V"}],
    "requirement": [{"kind": "spike", "load": "modem", "limit": "100 mV"}, {"kind": "drop", "load": "modem", "limit": "1 V"},
                    {"kind": "step", "load": "modem", "current": "1 A", "limit": "500 mV"}],
    "accepted": [{"part": "C1", "rating": "voltage", "reason": "tried on the bench"}],
}  # fmt: skip
FED = {  # what feeds the converter and how it starts
    "name": "fed",
    "converter": {
        "name": "Combe (invented)", "output_voltage": "28 V", "switching_frequency": "180 kHz", "shape": "triangle",
        "ripple": {"peak_to_peak": "110 mV", "bandwidth": "20 MHz", "load_current": "2 A"},
        "limit": {"kind": "hiccup", "current": "3.4 A", "hiccup_on": "5 ms", "hiccup_off": "100 ms", "soft_start": "5 ms"},
        "control": {"phase_margin": 60, "sensing": "load"},
        "rating": {"output_current": "3 A"},
    },
    "battery": {"voltage": "24 V", "resistance": "20 mΩ", "inductance": "0.2 µH", "capacity": "40 Ah", "usable": "80 %"},
    "supply_wire": {"length": "4 m", "cross_section": "2.5 mm2", "inductance": "3 µH", "drop": "3 %"},
    "fuse": {"rated_current": "10 A", "melting_i2t": "60 A2s", "resistance": "8 mΩ", "rated_voltage": "58 V", "pulses": 1000},
    "switch": {
        "kind": "transistor", "resistance": "5 mΩ", "ramp": "1 ms", "rated_current": "30 A", "peak_current": "120 A", "rated_voltage": "60 V",
        "avalanche_energy": "0.1 J"},
    "input_side": {"capacitors": [{"part": "aluminium-100u-50V"}]},
    "filter": [
        {"kind": "differential_choke", "part": "dm-10u-6A", "damping": {"resistance": "1 ohm", "part": {
            "kind": "differential_choke", "inductance": "2.2 µH", "dc_resistance": "5 mΩ", "saturation_current": "8 A", "rated_current": "6 A"}}},
        {"kind": "capacitor", "name": "C2", "part": {"kind": "aluminium", "capacitance": "100 µF", "rated_voltage": "50 V", "esr": "0.1 ohm"}},
    ],
    "load": [{"name": "modem", "kind": "constant_power", "power": "35 W", "starts_at": "22 V", "stops_at": "20 V",
              "profile": {"idle": "15 %", "burst": "5 ms", "period": "2 s", "lowest_voltage": "20 V"}}],
    "requirement": [{"kind": "ripple", "load": "modem", "limit": "15 mV"}],
}  # fmt: skip
TREES = {"complete": TREE, "rare": RARE, "fed": FED}
COMMANDS = ("review", "verify", "bank", "damp", "compare", "bench")
NEEDED = {
    "bank": (("load", 0, "profile"), ("converter", "rating")),
    "damp": (("filter", 0), ("filter", 2), ("filter", 3)),  # a choke and a capacitor behind it, in each of the trees
}


def text_of(tree):
    return "\n".join(f"{key} = {written(value)}" for key, value in tree.items()) + "\n"


def alone():
    """Every case of one key: the name of its tree and a tuple of its one pair (path, value)."""
    return [(name, (end,)) for name, tree in TREES.items() for end in at_ends(tree)]


def pairs(count, seed=1):
    """That many cases of two keys of one tree, always the same ones."""
    chance, cases = random.Random(seed), alone()
    found = []
    while len(found) < count:
        (name, (one,)), (other, (two,)) = chance.choice(cases), chance.choice(cases)
        if name == other and one[0] != two[0]:
            found.append((name, (one, two)))
    return found


def changed(case, gone=()):
    """The tree of a case without the tables at those paths; a key whose table a first change took away stays as it was."""
    name, changes = case
    tree = copy.deepcopy(TREES[name])
    for path, value in changes:
        get(tree, path[:-1])[path[-1]] = value
    for path in sorted(gone, reverse=True):
        del get(tree, path[:-1])[path[-1]]
    return tree


def smallest(case, folder, *needed):
    """The tree of a case without the tables that it reads without: a command takes seconds with what is left.

    The first load, the first requirement and the last stage stay, and with ``needed`` what a command cannot do without.
    """
    kept = {path[:-1] for path, _ in case[1]} | {
        ("load", 0),
        ("requirement", 0),
        ("filter", len(TREES[case[0]]["filter"]) - 1),
    }
    return changed(case, _needless(case[0], frozenset(kept.union(needed)), folder))


@cache
def _needless(name, kept, folder):
    """Paths of the tables without which a tree reads, its values as they are; those kept and those around them are not among them."""
    gone = []
    for path, *_ in list(held(TREES[name]))[:0:-1]:
        trial = [path, *(one for one in gone if one[: len(path)] != path)]
        if not any(one[: len(path)] == path for one in kept) and _reads(changed((name, ()), trial), folder):
            gone = trial
    return tuple(gone)


def _reads(tree, folder):
    path = folder / "smaller.toml"
    path.write_text(text_of(tree), encoding="utf-8")
    with contextlib.suppress(FilterlibError):
        return bool(load_design(path))
    return False


def words(case):
    return f"{case[0]}: " + ", ".join(f"{key_of(path)} = {value:g}" for path, value in case[1])


def looked(case, folder, *, deep):
    """ "refused" or "taken", by reading alone or with every piece of a review; raises for a fault."""
    path = folder / "board.toml"
    path.write_text(text_of(changed(case)), encoding="utf-8")
    return outcome("design", path, deep=deep)


def whole(case, folder, command):
    """The exit code of a whole command on the smallest design of a case.

    Raises AssertionError for a traceback, an infinity, a refusal without a name, and a file that does not parse; what numpy
    warns of is an error, too.
    """
    path, out = folder / "board.toml", folder / "out"
    path.write_text(text_of(smallest(case, folder, *NEEDED.get(command, ()))), encoding="utf-8")
    more = {"compare": [str(path)], "bench": ["--reading", "modem 20MHz 5 mV"]}
    stream = io.StringIO()
    with (
        contextlib.redirect_stdout(stream),
        contextlib.redirect_stderr(stream),
        in_time(180),
        warnings.catch_warnings(action="error", category=RuntimeWarning),
    ):
        code = cli.main([command, str(path), *more.get(command, ()), "--out", str(out)])
    said = stream.getvalue()
    assert code in (0, 1, 2), said[-2000:]
    finite(said)
    if code == 2:
        assert all(line.startswith(f"filterlib: {path}") for line in said.strip().splitlines()), said
    else:
        parses(out)
    return code


def parses(folder):
    """Raises what is wrong with the figures, the numbers and the pages in a folder."""
    for figure in folder.rglob("*.svg"):
        finite(" ".join(ElementTree.fromstring(figure.read_text(encoding="utf-8")).itertext()))
    for numbers in folder.glob("*.json"):
        json.loads(numbers.read_text(encoding="utf-8"), parse_constant=finite)
    for page in folder.glob("*.html"):
        finite(" ".join(Page(page.read_text(encoding="utf-8")).text))


def finite(text):
    """Raises AssertionError where a text has an infinity or no number among its words."""
    words = text.replace("=", " ").split()
    bad = [at for at, word in enumerate(words) if word in ("inf", "-inf", "nan", "Infinity", "-Infinity", "NaN")]
    assert not bad, " ".join(words[max(0, bad[0] - 20) : bad[0] + 20])
