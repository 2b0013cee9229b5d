"""Every number of results.json is a described field: its value, and its key's end and unit."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Mapping

import numpy as np
import pytest

from filterlib.analysis.described import described
from filterlib.analysis.review import review
from filterlib.network.circuit import Circuit
from filterlib.show.review_page.results import results_text
from tests.designs import common_mode, converter, design, resistive, shunt

SPECIAL = re.compile(
    r"format|exit_code|parts|harmonics/\d+|(nominal|low|high)"  # counts; an uncertain parameter in its own unit
    r"|.*_at_(switching|1MHz|10MHz)_(dB|ohm)|.*_largest_below_switching(_at_Hz|_ohm)"  # of curves, at one frequency
    r"|poles_per_s/.*"  # pairs
)
PATH = re.compile(r".*_(V|Hz)")  # facts of a sentence: a path in the result, and the unit at its end


@pytest.fixture(scope="module")
def whole():
    drive = converter(input_voltage="24 V", shape="pulse", common_mode={"swing": "28 V", "coupling": "100 pF"})
    limit = {"kind": "ripple", "load": "modem", "bandwidth": "20 MHz", "limit": "15 mV"}
    emission = {"kind": "emission", "side": "output", "limit": "mains-class-b", "margin": "6 dB"}
    return review(
        design(shunt(), common_mode(), shunt(), source=drive, load=resistive(bond={}), requirement=[limit, emission])
    )


def held(result, seen):
    """(end of the key, value) of every described number that can be reached from a result."""
    if isinstance(result, Mapping | tuple):
        for inner in result.values() if isinstance(result, Mapping) else result:
            yield from held(inner, seen)
    elif dataclasses.is_dataclass(result) and not isinstance(result, Circuit) and id(result) not in seen:
        seen.add(id(result))
        for name, mark in described(result).items():
            yield from _numbers(result, name, mark)
        for field in dataclasses.fields(result):
            yield from held(getattr(result, field.name), seen)


def _numbers(result, name, mark):
    value = getattr(result, name)
    for at, one in value.items() if isinstance(value, Mapping) else [("", value)]:
        unit = mark.of(result, at[0] if isinstance(at, tuple) else at)
        end = "_".join(word for word in ((mark.key or "").replace("*", name), unit) if word)
        for number in np.ravel(np.abs(one) if np.iscomplexobj(one) else one) if one is not None else ():
            if isinstance(number, float | np.floating) and np.isfinite(number):
                yield end, float(f"{float(number):.7g}")


def written(section, path=()):
    """(path, value) of every number of a file."""
    if isinstance(section, dict | list):
        for key, inner in section.items() if isinstance(section, dict) else enumerate(section):
            yield from written(inner, (*path, str(key)))
    elif isinstance(section, int | float) and not isinstance(section, bool):
        yield path, section


def test_every_number_of_results_json_is_a_described_field(whole):
    known = {}
    for end, value in held(whole, set()):
        known.setdefault(value, set()).add(end)
    checked = 0
    for path, value in written(json.loads(results_text(whole, [], "0"))):
        key = next(word for word in reversed(path) if not word.isdigit())
        if SPECIAL.fullmatch(key) or SPECIAL.fullmatch("/".join(path[-2:])) or SPECIAL.fullmatch("/".join(path[-3:])):
            continue
        if "facts" in path:
            assert PATH.fullmatch(key), path
            assert float(f"{value:.7g}") in known, path
            continue
        ends = known.get(float(f"{value:.7g}"), set())
        assert any(key == end or key.endswith(f"_{end}") for end in ends), (path, value, ends)
        checked += 1
    assert checked > 1000
