"""One channel of an oscilloscope's file: volts at even times, with what is known about how they were taken."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np

from filterlib.analysis.described import Hertz, Ratio, Seconds, Unit, Volts
from filterlib.bench.capture.clipping import clipping
from filterlib.bench.capture.preamble import DIVISIONS, FREE, Column, Setting, columns, settings
from filterlib.bench.capture.slips import slips
from filterlib.errors import InputError, QuantityError, did_you_mean, refused
from filterlib.parts.curves.rows import Rows, read_rows
from filterlib.units import format_quantity, quantity

MOST_CHANNELS = 4


@dataclass(frozen=True, eq=False)
class Recording:
    """One channel, as the oscilloscope saw it.

    ``volts`` (samples,): at the probe's tip, its factor included; ``sample_interval``, ``start``: from one sample to the
    next, and of the first. ``channel`` that was read, of all ``channels`` that the file holds; ``coupling``: "AC" or "DC", None
    where neither file nor caller says; ``probe_factor``: ``volts`` contain it; ``bandwidth``: limit of scope and probe, None: not
    known, or none; ``full_scale``: from the scope's lowest to its highest level, at the tip; ``load_current``, ``input_voltage``: of the
    converter meanwhile, None: not said; ``file``: where it came from;
    ``assumptions``: what was taken for granted because the file does not say it.

    Examples
    --------
    >>> import numpy as np
    >>> square = Recording(np.array([0.0, 1.0, 0.0, 1.0]), 1e-6)
    >>> square.peak_to_peak, square.mean, square.duration
    (1.0, 0.5, 4e-06)
    """

    volts: Annotated[np.ndarray, Unit("V", key=None)]
    sample_interval: Seconds[float]
    start: Annotated[float, Unit("s", key=None)] = 0.0
    channel: str = "CH1"
    channels: tuple[str, ...] = ("CH1",)
    coupling: str | None = None
    probe_factor: Ratio[float | None] = None
    bandwidth: Hertz[float | None] = None
    full_scale: Volts[float | None] = None
    load_current: Annotated[float | None, Unit("A", key=None)] = None
    input_voltage: Annotated[float | None, Unit("V", key=None)] = None
    file: str = ""
    assumptions: tuple[str, ...] = ()

    @property
    def samples(self) -> int:
        return self.volts.size

    @property
    def time(self) -> np.ndarray:
        """Of each sample, array (samples,) [s]."""
        return self.start + self.sample_interval * np.arange(self.samples)

    @property
    def duration(self) -> float:
        """Samples times interval [s]."""
        return self.samples * self.sample_interval

    @property
    def peak_to_peak(self) -> float:
        """Highest minus lowest sample [V]."""
        return float(np.ptp(self.volts))

    @property
    def mean(self) -> float:
        return float(np.mean(self.volts))

    @property
    def rms(self) -> float:
        """Root mean square, the mean included [V]."""
        return float(np.sqrt(np.mean(self.volts**2)))


def load_recording(
    path: str | Path,
    channel: str | int | None = None,
    *,
    probe_factor: float | None = None,
    bandwidth: float | str | None = None,
    full_scale: float | str | None = None,
    sample_interval: float | str | None = None,
    coupling: str | None = None,
) -> Recording:
    """Read one channel of a CSV file that an oscilloscope wrote.

    Any preamble; columns separated by comma, semicolon or tab; decimal point or comma; units in the header, in a row
    below it or in the preamble; a time column, or a sample interval that is stated.

    Parameters
    ----------
    path : str or Path
    channel : str or int, optional
        Name as the file has it, or its number from 1 on. Without it the first, after every channel was checked.
    probe_factor : float, optional
        Of the probe that was in use: 10 for 10:1 [1]. The file's volts contain the factor that the file states, or 1
        where it states none, and are corrected by the ratio.
    bandwidth : float or str, optional
        [Hz]; before what the file says.
    full_scale : float or str, optional
        Range from lowest to highest level, at the probe's tip [V]; before what the file says. It decides what is
        clipped; without it, an extreme value at which the samples pile up is.
    sample_interval : float or str, optional
        [s]; needed where the file has neither a time column nor the interval.
    coupling : str, optional
        "AC" or "DC"; before what the file says.

    Returns
    -------
    Recording

    Raises
    ------
    InputError
        With file and line: what is no number, gaps in time, time that repeats or runs backwards, clipped channels,
        settings that cannot be read, and everything that `filterlib.parts.curves.rows.read_rows` refuses.
    QuantityError
        For an argument whose value is impossible.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> recording = filterlib.load_recording(data_folder() / "recordings" / "clean-terminals.csv")
    >>> len(recording.volts)
    34000
    """
    arguments = _in_si(probe_factor, bandwidth, full_scale, sample_interval, coupling)
    rows = read_rows(path)
    return _File(rows, settings(rows), columns(rows), arguments).recording(channel)


def _in_si(
    probe: object, bandwidth: object, full_scale: object, interval: object, coupling: str | None
) -> dict[str, float | str]:
    """The arguments that were given, in SI."""
    units = {
        "probe_factor": (probe, ""),
        "bandwidth": (bandwidth, "Hz"),
        "full_scale": (full_scale, "V"),
        "sample_interval": (interval, "s"),
    }
    arguments: dict[str, float | str] = {
        name: quantity(value, unit, above=0, name=name) for name, (value, unit) in units.items() if value is not None
    }
    return arguments if coupling is None else arguments | {"coupling": _coupling(coupling)}


def _coupling(text: str) -> str:
    kind = str(text).strip().upper()[:2]
    if kind not in ("AC", "DC"):
        raise QuantityError("AC or DC is needed", name="coupling", value=text)
    return kind


@dataclass(frozen=True)
class _File:
    """A file's rows with their meaning, on the way to one channel."""

    rows: Rows
    stated: dict[str, Setting]
    columns: tuple[Column, ...]
    arguments: dict[str, float | str]

    def recording(self, channel: str | int | None) -> Recording:
        names = self.names()
        at = self.index(channel, names)
        self.refuse_short()
        start, interval = self.timing()
        for nth in range(len(names)) if channel is None else [at]:
            self.refuse_clipped(nth, names)
        ratio, probe = self.probe(at)
        return Recording(
            _frozen(self.volts(at) * ratio),
            interval,
            start,
            names[at],
            names,
            self.coupling(at),
            probe,
            self.bandwidth(at),
            self.full_scale(at),
            self.number("load_current", "A"),
            self.number("input_voltage", "V"),
            self.rows.file,
            tuple(self.assumptions(at, channel, ratio)),
        )

    @property
    def first(self) -> int:
        """Column of the first channel: behind the time, or behind the number of the sample."""
        if len(self.columns) == 1:
            return 0
        return 1 if self.columns[0].is_index or self.has_time else 0

    @property
    def has_time(self) -> bool:
        head = self.columns[0]
        if len(self.columns) == 1 or head.is_index:
            return False
        if head.name or head.unit:
            return head.is_time
        steps = np.diff(self.rows.values[:100, 0])
        return self.interval() is None or bool(steps.size and np.all(steps > 0))

    def names(self) -> tuple[str, ...]:
        """Of the channels: as the header has them, as the preamble has them, or CH1 and so on."""
        names = [column.name for column in self.columns[self.first :]]
        line = self.columns[0].line or self.rows.line(0)
        if len(names) > MOST_CHANNELS:
            raise refused(self.rows.file, f"{len(names)} channels, and {MOST_CHANNELS} at most are read", line)
        listed = self.stated["channel"].values if "channel" in self.stated else ()
        if not all(names):
            names = list(listed) if len(listed) == len(names) else [f"CH{n}" for n in range(1, len(names) + 1)]
        if len(set(names)) < len(names):
            raise refused(self.rows.file, "two channels have the same name", line, ", ".join(names))
        return tuple(names)

    def index(self, channel: str | int | None, names: tuple[str, ...]) -> int:
        if channel is None:
            return 0
        if isinstance(channel, int) and not isinstance(channel, bool) and 1 <= channel <= len(names):
            return channel - 1
        folded = [name.casefold() for name in names]
        if str(channel).casefold() in folded:
            return folded.index(str(channel).casefold())
        raise refused(self.rows.file, f"no channel {channel!r}; {did_you_mean(str(channel), names)}")

    def refuse_short(self) -> None:
        stated, count = self.number("samples", ""), len(self.rows.values)
        if stated is not None and stated > count:
            why = f"{stated:g} samples are announced, and the file holds {count}: was it cut short?"
            raise refused(self.rows.file, why, self.stated["samples"].line)

    def timing(self) -> tuple[float, float]:
        """Start and sample interval [s]."""
        rows, stated = self.rows, self.interval()
        if not self.has_time:
            if stated is None:
                why = "no time column and no sample interval: state it as sample_interval, or export the times"
                raise refused(rows.file, why, rows.line(0))
            return self.number("start", "s") or 0.0, stated
        if len(rows.values) < 2:
            raise refused(rows.file, "one row: no recording", rows.line(0))
        times = rows.values[:, 0] * self.factor(self.columns[0], "s", "time_unit")
        found = list(slips(rows, times))
        if found:
            raise InputError(found)
        interval = float((times[-1] - times[0]) / (times.size - 1))
        if stated is not None and abs(stated - interval) > 0.01 * interval:
            shown = f"{format_quantity(interval, 's', 4)}, and {format_quantity(stated, 's', 4)} is stated"
            raise refused(rows.file, f"the time column steps by {shown}", rows.line(1))
        return float(times[0]), interval

    def interval(self) -> float | None:
        if "sample_interval" in self.arguments:
            return float(self.arguments["sample_interval"])
        rate = self.number("sample_rate", "Hz")
        return 1 / rate if rate else self.number("sample_interval", "s")

    def factor(self, column: Column, unit: str, key: str) -> float:
        if not column.unit and key in self.stated:
            column = Column(column.name, self.stated[key].values[0], self.stated[key].line)
        return column.factor(unit, self.rows.file) if column.unit else 1.0

    def volts(self, at: int) -> np.ndarray:
        """As the file has them [V]."""
        column = self.first + at
        return self.rows.values[:, column] * self.factor(self.columns[column], "V", "volt_unit")

    def text(self, key: str, at: int = 0) -> str | None:
        """A setting of one channel, as written."""
        if key not in self.stated:
            return None
        whole, line = key.startswith("sample"), self.stated[key].line  # of the whole file, perhaps for each channel
        values = tuple(dict.fromkeys(self.stated[key].values)) if whole else self.stated[key].values
        if len(values) > 1 and (whole or len(values) != len(self.columns) - self.first):
            raise refused(self.rows.file, "one value is needed, or one for each channel", line, ", ".join(values))
        return values[at if len(values) > 1 else 0]

    def number(self, key: str, unit: str, at: int = 0) -> float | None:
        text = self.text(key, at)
        if text is None or (key in ("bandwidth", "full_scale") and FREE.fullmatch(text)):
            return None
        low = None if key in ("start", "offset") else 0
        try:
            return quantity(_plain(key, text), unit, above=low)
        except QuantityError as error:
            raise refused(self.rows.file, error.why, self.stated[key].line, text) from None

    def probe(self, at: int) -> tuple[float, float | None]:
        """What the file's volts are multiplied with, and the probe's factor."""
        stated = self.number("probe_factor", "", at)
        if "probe_factor" not in self.arguments:
            return 1.0, stated
        return float(self.arguments["probe_factor"]) / (stated or 1.0), float(self.arguments["probe_factor"])

    def coupling(self, at: int) -> str | None:
        if "coupling" in self.arguments:
            return str(self.arguments["coupling"])
        text = self.text("coupling", at)
        try:
            return None if text is None else _coupling(text)
        except QuantityError as error:
            raise refused(self.rows.file, error.why, self.stated["coupling"].line, text) from None

    def bandwidth(self, at: int) -> float | None:
        return (
            float(self.arguments["bandwidth"]) if "bandwidth" in self.arguments else self.number("bandwidth", "Hz", at)
        )

    def full_scale(self, at: int) -> float | None:
        """At the probe's tip [V]."""
        if "full_scale" in self.arguments:
            return float(self.arguments["full_scale"])
        division = self.number("per_division", "V", at)
        stated = DIVISIONS * division if division else self.number("full_scale", "V", at)
        return stated * self.probe(at)[0] if stated else None

    def refuse_clipped(self, at: int, names: tuple[str, ...]) -> None:
        ratio = self.probe(at)[0]
        offset = self.number("offset", "V", at)
        clipped = clipping(self.volts(at) * ratio, self.full_scale(at), None if offset is None else offset * ratio)
        if clipped is None:
            return
        often = f"{clipped.times} time{'s' * (clipped.times > 1)}, {clipped.samples} samples in all"
        why = f"{names[at]} is clipped {often}, first here: record it again with a larger full scale"
        if not clipped.sure:
            why += "; if the signal is really flat there, state full_scale"
        raise refused(self.rows.file, why, self.rows.line(clipped.first))

    def assumptions(self, at: int, channel: str | int | None, ratio: float) -> Iterator[str]:
        names = self.names()
        if channel is None and len(names) > 1:
            yield f"{names[0]} was read, the first of {', '.join(names)}"
        if not self.columns[self.first + at].unit and "volt_unit" not in self.stated:
            yield "the file gives no unit for the signal: taken as volts"
        if self.has_time and not self.columns[0].unit and "time_unit" not in self.stated:
            yield "the file gives no unit for the time: taken as seconds"
        if ratio != 1:
            yield f"the file's volts were multiplied by {ratio:g}, for the probe"
        if "per_division" in self.stated and "full_scale" not in self.arguments:
            yield f"full scale taken as {DIVISIONS} divisions"
        if self.full_scale(at) is None:
            yield "full scale not known: clipping was judged by the pile of samples at the extremes"


def _plain(key: str, text: str) -> str:
    """A value in the spelling of the trade, as a quantity is written."""
    if key == "probe_factor":
        return re.sub(r"\s*(:\s*1|[x×])$|^[x×]\s*", "", text.strip(), flags=re.IGNORECASE)
    if key == "sample_rate":
        return re.sub(r"(Sa|S|samples)/s$", "Hz", text)
    if key == "per_division":
        return re.sub(r"\s*/\s*div\.?$", "", text)
    if key == "full_scale" and text.startswith(("±", "+-", "+/-")):
        return _doubled(text.lstrip("±+-/ "))
    return text


def _doubled(text: str) -> str:
    try:
        return f"{2 * quantity(text, 'V')} V"
    except QuantityError:
        return text


def _frozen(array: np.ndarray) -> np.ndarray:
    array.setflags(write=False)
    return array
