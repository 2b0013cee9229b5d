"""Limit files: read strictly, everything that is wrong said at once with its place; ours complete."""

import copy
import json

import numpy as np
import pytest

from filterlib.errors import FilterlibError, InputError
from filterlib.parts.tables import data_folder
from filterlib.system.limits import Limit, find_limit, load_limit, standard_limits

GOOD = {
    "title": "Harbour port (invented)",
    "source": "invented",
    "network": "50uH",
    "piece": [
        {"detector": "quasi_peak", "frequencies": ["150 kHz", "500 kHz"], "levels": [66, 56]},
        {"detector": "quasi_peak", "frequencies": ["500 kHz", "30 MHz"], "levels": [50, 50]},
        {"detector": "average", "frequencies": ["1 MHz", "2 MHz"], "levels": [40.5, 40.5]},
    ],
}
JARGON = ("pydantic", "http", "type=", "Input should", "Traceback", "validation error")


def write(tmp_path, contents):
    """A limit file; what JSON writes of these is TOML for single values, lists and texts."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in contents.items() if key != "piece"]
    pieces = contents.get("piece", [])
    for piece in pieces if isinstance(pieces, list) else []:
        lines += ["[[piece]]", *(f"{key} = {json.dumps(value)}" for key, value in piece.items())]
    if not isinstance(pieces, list):
        lines.append(f"piece = {json.dumps(pieces)}")
    path = tmp_path / "limit.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_good_file_is_read(tmp_path):
    """hand: levels at ends and between; outside there is no limit; where two pieces meet the lower one holds."""
    read = load_limit(write(tmp_path, GOOD))
    assert (read.name, read.limit.detectors) == ("limit", ("quasi_peak", "average"))
    levels = read.limit.at([100e3, 150e3, 500e3, 500e3 * (1 - 1e-12), 31e6], "quasi_peak")
    assert levels.tolist() == [np.inf, 66.0, 50.0, 50.0, np.inf]
    assert read.limit.at([0.9e6, 1e6, 2e6], "average").tolist() == [np.inf, 40.5, 40.5]
    assert np.isinf(read.limit.at(1e6, "peak"))


def changed(*steps):
    contents = copy.deepcopy(GOOD)
    for place, value in steps:
        holder = contents
        for step in place[:-1]:
            holder = holder[step]
        if value is ...:
            del holder[place[-1]]
        else:
            holder[place[-1]] = value
    return contents


BROKEN = {  # name: (change, key in the message, word of it)
    "no title": ((("title",), ...), "title", "missing"),
    "empty title": ((("title",), " "), "title", "text"),
    "no source": ((("source",), ...), "source", "missing"),
    "unknown key": ((("netwerk",), "50uH"), "netwerk", "network"),
    "unknown network": ((("network",), "50 µH"), "network", "50uH"),
    "of something else": ((("of",), "lines"), "of", "line"),
    "other unit": ((("unit",), "dBm"), "unit", "dBuV"),
    "current of a line": ((("unit",), "dBuA"), "unit", "common"),
    "memory as text": ((("from_memory",), "yes"), "from_memory", "true or false"),
    "no pieces": ((("piece",), ...), "piece", "at least one"),
    "pieces are text": ((("piece",), "66 dB"), "piece", "list"),
    "empty pieces": ((("piece",), []), "piece", "at least"),
    "no detector": ((("piece", 0, "detector"), ...), "piece[1].detector", "missing"),
    "other detector": ((("piece", 0, "detector"), "quasi-peak"), "piece[1].detector", "quasi_peak"),
    "unknown key of a piece": ((("piece", 1, "level"), 60), "piece[2].level", "levels"),
    "one level": ((("piece", 0, "levels"), [66]), "piece[1].levels", ""),
    "three levels": ((("piece", 0, "levels"), [66, 60, 56]), "piece[1].levels", ""),
    "level as a number": ((("piece", 0, "levels"), 66), "piece[1].levels", "list"),
    "level in another unit": ((("piece", 0, "levels"), ["66 dBuV", 56]), "piece[1].levels[1]", ""),
    "level with a decimal comma": ((("piece", 0, "levels"), ["66,5", 56]), "piece[1].levels[1]", ""),
    "level out of this world": ((("piece", 0, "levels"), [66, 5600]), "piece[1].levels[2]", "200"),
    "level true": ((("piece", 0, "levels"), [66, True]), "piece[1].levels[2]", ""),
    "frequency without prefix": ((("piece", 0, "frequencies"), [150, "500 kHz"]), "piece[1].frequencies[1]", "prefix"),
    "frequency of another unit": ((("piece", 0, "frequencies"), ["150 kV", "500 kHz"]), "piece[1].frequencies[1]", "Hz"),
    "frequency negative": ((("piece", 0, "frequencies"), [-150e3, 500e3]), "piece[1].frequencies[1]", ""),
    "frequency missing": ((("piece", 0, "frequencies"), ["150 kHz"]), "piece[1].frequencies", ""),
    "no frequencies": ((("piece", 2, "frequencies"), ...), "piece[3].frequencies", "missing"),
    "backwards": ((("piece", 0, "frequencies"), ["500 kHz", "150 kHz"]), "piece[1].frequencies", "rise"),
    "no length": ((("piece", 2, "frequencies"), ["1 MHz", "1 MHz"]), "piece[3].frequencies", "rise"),
    "overlap": ((("piece", 1, "frequencies"), ["400 kHz", "30 MHz"]), "piece[2].frequencies", "overlaps piece[1]"),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_each_break_is_named(name, tmp_path):
    change, key, word = BROKEN[name]
    path = write(tmp_path, changed(change))
    with pytest.raises(InputError) as caught:
        load_limit(path)
    (problem, *rest) = caught.value.problems
    assert not rest
    assert problem.file == str(path)
    assert problem.key.startswith(key)
    assert word in str(problem)
    assert not any(jargon in str(caught.value) for jargon in JARGON)


def test_everything_wrong_is_said_at_once(tmp_path):
    broken = changed(
        (("title",), ...), (("piece", 0, "levels"), [66]), (("piece", 1, "detector"), "pk"),
        (("piece", 2, "frequencies"), ["2 MHz", "1 MHz"]),
    )  # fmt: skip
    with pytest.raises(InputError) as caught:
        load_limit(write(tmp_path, broken))
    keys = {problem.key for problem in caught.value.problems}
    assert keys == {"title", "piece[1].levels[2]", "piece[2].detector", "piece[3].frequencies"}


@pytest.mark.parametrize(
    ("contents", "why"),
    [
        (b"", "empty"),
        (b"title = \n", "TOML"),
        (b"\xff\xfe", "not"),
        (b"title = 'x'\0", "zero byte"),
        (None, "no such file"),
    ],
)
def test_what_is_no_file_of_limits(contents, why, tmp_path):
    path = tmp_path / "limit.toml"
    if contents is not None:
        path.write_bytes(contents)
    with pytest.raises(InputError, match=why) as caught:
        load_limit(path)
    assert str(path) in str(caught.value)


def test_ours_are_all_read_and_name_their_source():
    limits = standard_limits()
    assert len(limits) == len(list((data_folder() / "limits").glob("*.toml"))) >= 5
    for name, one in limits.items():
        assert one.limit.source
        assert one.limit.from_memory == ("from memory" in one.limit.source), name


def test_an_unknown_limit_gets_the_nearest():
    with pytest.raises(FilterlibError, match='did you mean "mains-class-b"'):
        find_limit("mains-clas-b")


def test_limits_are_frozen():
    with pytest.raises(Exception, match="frozen"):
        find_limit("mains-class-a").limit.title = "other"
    assert isinstance(find_limit("mains-class-a").limit, Limit)
