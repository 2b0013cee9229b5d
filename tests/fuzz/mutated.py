"""Files that people write, damaged with their structure in mind: always the same ones for a seed and a number."""

import copy
import random
from functools import cache

from filterlib import load_design
from filterlib.bench.answers.readings_file import readings_text
from filterlib.parts.tables import data_folder
from filterlib.system.file.writing import kept_text
from tests.fuzz.ends import at_ends
from tests.fuzz.sweep import FED, RARE, TREES
from tests.system.test_bad_input import EVERY, get, places, written

RARELY = [*places(RARE), *places(FED)]

ODD = (
    "", " ", "0", "-1", "1e999", "-0", "NaN", "inf", "1,5 µF", "4k7", "F1", "R47", "1_000", "10 %", "200 %", "-300 °C", "1e-300 V", "1e300",
    "5 furlongs", "full", "x" * 5000, "C1\nfilterlib: done", "\x00", "\u202e", "µ", "modem", "C1", "C2", "terminals", "plus", "true",
    "/dev/zero", "/", "..", "no-such-part", "film-1u0-250V", "10 mm2", "1 h", "24 AWG",
    0, 1, -1, 2**63, 10**400, 1e-300, 1e300, 0.1, True, False, [], {}, [[]], [1, "2"], {"a": 1}, [["1 kHz", "3 ohm"]], float("nan"), float("inf"),
)  # fmt: skip
CHARACTERS = "0123456789.,;:=#[](){}\"'\\ \t\n-+eE%µΩ°\x00\x1b\ufeff\u2028xKMk"


@cache
def ends():
    """Places of both designs at the ends of their ranges."""
    return tuple(end for tree in TREES.values() for end in at_ends(tree))


def design(chance):
    """The text of one of the designs that hold every model, with one to three things changed."""
    tree = copy.deepcopy(chance.choice(tuple(TREES.values())))
    for _ in range(chance.randint(1, 3)):
        chance.choice((_replaced, _replaced, _at_an_end, _at_an_end, _taken_away, _twice, _exchanged, _misspelt))(
            tree, chance
        )
    try:
        text = "\n".join(f"{_key(key)} = {written(value)}" for key, value in tree.items())
    except RecursionError:
        text = ""
    return _damaged(text, chance) if chance.random() < 0.15 else text


def _key(key):
    return key if key.isidentifier() and key.isascii() else written(key)


def _place(tree, chance):
    """Holder and key of something that is there."""
    for _ in range(50):
        path = chance.choice(EVERY + RARELY)
        try:
            holder = get(tree, path[:-1])
            holder[path[-1]]
        except (KeyError, IndexError, TypeError):
            continue
        if isinstance(holder, dict | list):
            return holder, path[-1]
    return tree, next(iter(tree), "name")


def _replaced(tree, chance):
    holder, key = _place(tree, chance)
    holder[key] = copy.deepcopy(chance.choice(ODD))


def _at_an_end(tree, chance):
    path, value = chance.choice(ends())
    try:
        get(tree, path[:-1])[path[-1]] = value
    except (KeyError, IndexError, TypeError):
        _replaced(tree, chance)


def _taken_away(tree, chance):
    holder, key = _place(tree, chance)
    if len(holder) > 1:
        del holder[key]


def _twice(tree, chance):
    name = chance.choice([key for key, value in tree.items() if isinstance(value, list)] or ["filter"])
    entries = tree.setdefault(name, [])
    if isinstance(entries, list) and entries:
        entries.insert(chance.randrange(len(entries) + 1), copy.deepcopy(chance.choice(entries)))


def _exchanged(tree, chance):
    (one, first), (other, second) = _place(tree, chance), _place(tree, chance)
    one[first], other[second] = copy.deepcopy(other[second]), copy.deepcopy(one[first])


def _misspelt(tree, chance):
    holder, key = _place(tree, chance)
    if isinstance(holder, dict):
        at = chance.randrange(len(key))
        holder[key[:at] + chance.choice("xe_ -") + key[at + 1 :]] = holder.pop(key)


def _damaged(text, chance):
    """A text with some characters gone, new, doubled or exchanged; a line twice or gone; or cut short."""
    for _ in range(chance.choice((1, 1, 2, 5, 20))):
        at = chance.randrange(len(text) + 1)
        lines = text.split("\n")
        line = chance.randrange(len(lines))
        kind = chance.randrange(7)
        if kind == 0:
            text = text[:at] + text[at + chance.choice((1, 1, 3, 50)) :]
        elif kind == 1:
            text = text[:at] + chance.choice(CHARACTERS) * chance.choice((1, 1, 2, 300)) + text[at:]
        elif kind == 2:
            text = "\n".join([*lines[:line], *[lines[line]] * chance.choice((0, 2, 40)), *lines[line + 1 :]])
        elif kind == 3:
            text = text[:at] if chance.random() < 0.3 else text
        elif kind == 4:
            text = text.replace(
                *chance.choice(
                    ((",", ";"), (";", ","), (".", ","), ("e-", "e"), ("\n", "\r\n"), (" ", "\t"), ("s", "ms"))
                )
            )
        elif kind == 5:
            text = "\n".join([*lines[:line], chance.choice(ROWS), *lines[line:]])
        else:
            fields = lines[line].split(",")
            fields[chance.randrange(len(fields))] = str(chance.choice(ODD))[:200]
            text = "\n".join([*lines[:line], ",".join(fields), *lines[line + 1 :]])
    return text


ROWS = (
    "1",
    "1,2,3,4",
    "nan,nan",
    "1e400,1",
    "# a comment",
    "Probe: 10",
    "Bandwidth,1 kHz",
    "Sample interval: 0",
    "t,CH1",
    "[s],[V]",
    "inf;1",
    "0,0",
    "[Version] 2.0",
)


@cache
def recordings():
    """Two seconds' work of an oscilloscope: a period of 5 µs, in two dialects."""
    import numpy as np

    times = 1e-7 * np.arange(500)
    volts = 0.05 * np.sin(2 * np.pi * 2e5 * times) + 1e-3 * np.random.default_rng(3).normal(size=times.size)
    comma = "".join(f"{t:.6e},{v:.5e}\n" for t, v in zip(times, volts, strict=True))
    settings = "Sample interval: 100 ns\nBandwidth,20 MHz\nProbe,10\nCoupling: AC\n"
    return f"{settings}time [s],CH1 [V]\n{comma}", "t;u1;u2\n" + comma.replace(",", ";").replace("\n", ";0\n").replace(
        ".", ","
    )


@cache
def curves():
    """|Z| and phase of a capacitor of 1 µF, 10 mohm and 5 nH."""
    import numpy as np

    f = np.geomspace(1e4, 1e7, 25)
    z = 0.01 + 2j * np.pi * f * 5e-9 + 1 / (2j * np.pi * f * 1e-6)
    rows = zip(f, np.abs(z), np.degrees(np.angle(z)), strict=True)
    return "frequency [Hz],|Z| [ohm],phase [deg]\n" + "".join(f"{a:.6e},{b:.6e},{c:.4f}\n" for a, b, c in rows)


@cache
def touchstones():
    """S21 of the same capacitor across a line of 50 ohm."""
    import numpy as np

    f = np.geomspace(1e4, 1e7, 25)
    z = 0.01 + 2j * np.pi * f * 5e-9 + 1 / (2j * np.pi * f * 1e-6)
    through, back = 2 * z / (2 * z + 50), -50 / (2 * z + 50)
    rows = (
        "".join(f" {part:.6e}" for s in (b, t, t, b) for part in (s.real, s.imag))
        for t, b in zip(through, back, strict=True)
    )
    return "! invented\n# Hz S RI R 50\n" + "".join(f"{a:.6e}{row}\n" for a, row in zip(f, rows, strict=True))


def _text(folder, pattern):
    return [path.read_text(encoding="utf-8") for path in sorted((data_folder() / folder).glob(pattern))]


@cache
def tables():
    """The head and the first parts of each table that comes with the library."""
    return ["[[part]]".join(text.split("[[part]]")[:3]) for text in _text("parts", "*.toml")]


@cache
def limits():
    """The limits that come with the library."""
    return _text("limits", "*.toml")


@cache
def readings():
    """A filled-in readings file of the bench, with everything that it may say of the scope."""
    lines = [("modem 20MHz listening", "2 to 5 mV"), ("modem full", "9 mV"), ("terminals 20MHz bare", "100 mV")]
    text = readings_text(lines).replace('= ""', '= "4.8 mV"')
    return (text.replace("\n# ", "\n"), text)


@cache
def kept():
    """A converter's model as the bench keeps it."""
    return (kept_text(load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), ["of an invented board"]),)


SORTS = (
    "design",
    "design",
    "design",
    "recording",
    "recording",
    "table",
    "limit",
    "curve",
    "touchstone",
    "readings",
    "kept",
)
ENDINGS = {"recording": "csv", "curve": "csv", "touchstone": "s2p"}


def file(seed, number):
    """Sort, ending and text of the damaged file of that number."""
    chance = random.Random(f"{seed} {number}")
    sort = SORTS[number % len(SORTS)]
    if sort == "design":
        text = design(chance)
    else:
        whole = {
            "recording": recordings,
            "table": tables,
            "limit": limits,
            "curve": lambda: (curves(),),
            "touchstone": lambda: (touchstones(),),
            "readings": readings,
            "kept": kept,
        }
        text = _damaged(chance.choice(whole[sort]()), chance)
    return sort, ENDINGS.get(sort, "toml"), text
