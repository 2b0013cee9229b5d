"""Writes recordings in many dialects, and the broken ones; the other half of the parser's round trip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9}
VOLT_UNITS = {"V": 1.0, "mV": 1e-3}
PREAMBLES = {
    "none": (),
    "short": ("Quay recorder",),
    "long": ("Quay recorder model 0 (invented)", "", *(f"Remark no. {n}{{s}}tide {n} dm" for n in range(40))),
    "keys": ("Coupling{s}AC", "Probe factor{s}10:1", "Bandwidth limit{s}20 MHz", "Full scale{s}400 V"),
    "colons": ("# Coupling: DC", "# Probe: 10x", "# Bandwidth = 20 MHz"),
}
HEADERS = ("bracket", "parenthesis", "slash", "in", "underscore", "row")


@dataclass(frozen=True)
class Dialect:
    """``time`` "column" or "stated"; ``decimal`` "." or ","; ``header`` one of `HEADERS`."""

    separator: str = ";"
    decimal: str = "."
    time_unit: str = "s"
    volt_unit: str = "V"
    header: str = "bracket"
    preamble: str = "none"
    ends: tuple[str, ...] = ("\n",)
    encoding: str = "utf-8"
    time: str = "column"
    quoted: bool = False
    trailing: bool = False


def written(dialect: Dialect, times: np.ndarray, channels: Sequence[np.ndarray]) -> bytes:
    """The file: preamble, header, rows; numbers with all their digits."""
    sign = dialect.separator
    lines = [line.format(s=sign) for line in PREAMBLES[dialect.preamble]]
    columns = [channel / VOLT_UNITS[dialect.volt_unit] for channel in channels]
    names = [(f"CH{n}", dialect.volt_unit) for n in range(1, len(channels) + 1)]
    if dialect.time == "column":
        columns.insert(0, times / TIME_UNITS[dialect.time_unit])
        names.insert(0, ("Time", dialect.time_unit))
    else:
        step = repr(float(np.ptp(times)) / (times.size - 1) / TIME_UNITS[dialect.time_unit]).replace(
            ".", dialect.decimal
        )
        lines.append(f"Sample interval{sign or ';'}{step}{sign or ';'}{dialect.time_unit}")
    lines += _header(names, dialect)
    for row in zip(*columns, strict=True):
        fields = [repr(float(value)).replace(".", dialect.decimal) for value in row]
        lines.append(sign.join(f'"{field}"' if dialect.quoted else field for field in fields))
    tail = sign if dialect.trailing else ""
    text = "".join(line + tail + dialect.ends[n % len(dialect.ends)] for n, line in enumerate(lines))
    return text.encode(dialect.encoding)


def _header(names: list[tuple[str, str]], dialect: Dialect) -> list[str]:
    forms = {"bracket": "{0} [{1}]", "parenthesis": "{0} ({1})", "slash": "{0}/{1}", "in": "{0} in {1}"}
    sign = dialect.separator
    if dialect.header == "row":
        return [sign.join(name for name, _ in names), sign.join(unit for _, unit in names)]
    form = forms.get(dialect.header, "{0}_{1}")
    return [sign.join(form.format(*name) for name in names)]


def put(folder: Path, content: bytes | str, name: str = "recording.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path
