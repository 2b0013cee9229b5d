"""The readings file: one line a station, written beside the bench sheet, filled in by a person, and read back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.errors import FilterlibError, InputError, Problem, did_you_mean
from filterlib.parts.reading import read_toml
from filterlib.units import quantity

FILE = "readings.toml"
_SCOPE = {  # unit, and the least and the most that is plausible of a scope and its probe: common practice, no source
    "gain": ("", 0.0, 0.5), "probe_gain": ("", 0.0, 0.5), "full_scale": ("V", 1e-3, 1e4), "noise": ("V", 0.0, 10.0), "probe": ("", 1.0, 1e4),
    "capacitance": ("F", 1e-14, 1e-8), "lead": ("m", 1e-3, 3.0), "corner": ("", 0.0, 0.9), "jitter": ("s", 0.0, 1e-3),
    "averages": ("", 1.0, 1e6), "repeatability": ("", 0.0, 0.5),
}  # fmt: skip
_HEAD = """\
# Readings of the bench, peak to peak, as the scope shows them. Write the figure between the quotes, "4.8 mV", and leave
# "" where nothing was read; of several, ["4.8 mV", "5 mV"], the mean counts. Then: filterlib bench DESIGN.toml --readings readings.toml --out answers
[readings]
"""
_FOOT = """
[scope]  # what it may be wrong by; take the number sign away, and write what its data sheet says
# gain = "3 %"
# probe = 10
# probe_gain = "2 %"
# noise = "1 mV"        # peak to peak, with the tip on its own clip
# full_scale = "80 mV"  # of the screen, at the tip
# lead = "5 cm"         # of the ground lead
# corner = "20 %"       # of its 20 MHz limit
# averages = 1          # of the screen
# jitter = "1 ns"       # of its trigger, standard deviation
# repeatability = "1 %" # standard deviation of readings that are taken again
"""


def readings_text(lines: Iterable[tuple[str, str]]) -> str:
    """The file's text, of stations' names and what is expected there.

    >>> readings_text([("modem 20MHz listening", "2 to 5 mV")]).splitlines()[3]
    '"modem 20MHz listening" = ""  # 2 to 5 mV expected'
    """
    return _HEAD + "".join(f'"{name}" = ""  # {words} expected\n' for name, words in lines) + _FOOT


def read_readings(path: str | Path) -> tuple[tuple[str, ...], ScopeErrors]:
    """The filled-in lines as `station_and_figure` reads them, and the scope.

    Raises: InputError with every problem: file, key, value, and what would be right.
    """
    raw = read_toml(path)
    problems = [
        Problem(str(path), key, None, f"no such table; {did_you_mean(key, ('readings', 'scope'))}")
        for key in raw
        if key not in ("readings", "scope")
    ]
    readings, scope = raw.get("readings", {}), raw.get("scope", {})
    for key, table in (("readings", readings), ("scope", scope)):
        if not isinstance(table, dict):
            problems.append(Problem(str(path), key, table, f"a table [{key}] is needed"))
    if problems:
        raise InputError(problems)
    figures = [(name, one) for name, text in readings.items() for one in (text if isinstance(text, list) else [text])]
    problems += [
        Problem(
            str(path),
            f"readings.{name}",
            figure,
            'a figure in quotes is needed, "4.8 mV", or ""; several as ["4.8 mV", "5 mV"]',
        )
        for name, figure in figures
        if not isinstance(figure, str)
    ]
    wrong = list(_scope(scope, str(path)))
    fields: dict[str, Any] = dict(one for one in wrong if not isinstance(one, Problem))
    problems += [one for one in wrong if isinstance(one, Problem)]
    if problems:
        raise InputError(problems)
    lines = tuple(f"{name} {figure}" for name, figure in figures if figure.strip())
    return lines, replace(ScopeErrors(), **fields)


def _scope(table: dict[str, object], file: str) -> Iterator[tuple[str, object] | Problem]:
    for key, text in table.items():
        if key not in _SCOPE:
            yield Problem(file, f"scope.{key}", text, f"no such key; {did_you_mean(key, _SCOPE)}")
            continue
        try:
            unit, low, high = _SCOPE[key]
            value = quantity(text, unit, low=low, high=high)
        except FilterlibError as error:
            yield Problem(file, f"scope.{key}", text, str(error))
        else:
            yield key, (value, value) if key == "lead" else value
