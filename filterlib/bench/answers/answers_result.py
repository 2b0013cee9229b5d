"""What readings of a board say: each beside what was expected; and the faults that a reading may have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from filterlib.analysis.described import Amperes, Hertz, Ratio, Seconds, Unit, Volts
from filterlib.analysis.ripple.ripple_result import Band, RippleResult
from filterlib.bench.answers.scope_errors import ScopeErrors
from filterlib.bench.capture.measurement import Measurement
from filterlib.system.design import Design

BARE = "bare"
"""In place of an operating point: the converter alone, in the arrangement of its stated ripple."""
Draw = Callable[[np.random.Generator, int], np.ndarray]
FOOLED = 0.1  # share by which a reading is off, from which on it is said
Outcome = Literal["agrees", "does not agree", "cannot tell"]
Why = Literal["", "noise", "bandwidth", "spike", "load", "uneven"]
MODEL = 0.1
"""Standard uncertainty of a circuit's peak to peak where all its values are right, as a share: measured on simulated converters, of
which seven in ten read within it (tests/calibration). Couplings, losses and ways of common-mode current that no file states."""
Kind = Literal[
    "as designed", "not connected", "poor joint", "long leads", "smaller value", "larger value", "wrong side", "shorted",
    "winding reversed", "loops side by side", "load off", "bonded twice", "bursts", "factor too high", "factor too low", "limit off", "limit on",
    "ground lead", "clip",
]  # fmt: skip
OFTEN: dict[Kind, float] = {
    "as designed": 0.0, "factor too high": 3.0, "factor too low": 3.0, "ground lead": 3.0, "limit off": 2.0, "limit on": 2.0, "load off": 1.5, "poor joint": 2.0,
    "not connected": 1.5, "clip": 1.5, "wrong side": 0.7, "shorted": 0.7, "winding reversed": 0.7, "loops side by side": 0.7,
}  # fmt: skip
"""How often people make a fault, beside one that counts as one: common practice, no source."""
_ACTS: dict[Kind, tuple[str, bool]] = {
    "not connected": ("solder the joint anew", True), "poor joint": ("solder the joint anew", True),
    "smaller value": ("measure the part", True), "larger value": ("measure the part", True),
    "load off": ("read the loads' currents", False),
}  # fmt: skip
"""What a person does about a fault, and whether at one part."""


@dataclass(frozen=True)
class Station:
    """A ``place`` (a load, or the converter's terminals), a ``band``, and the operating ``point``, `BARE` without filter."""

    place: str
    band: Band
    point: str

    @property
    def name(self) -> str:
        """On one line, as `station` reads it."""
        return f"{self.place} {self.band.label} {self.point}"


@dataclass(frozen=True)
class BenchReading:
    """One reading of a peak to peak, or the mean of several.

    ``shown``: as it stands on the screen, or is in the capture; ``value`` without what noise adds, which is ``bias``;
    ``low``, ``high``: in which the true figure is, 19 times in 20; ``source``: where it is from; ``reach``: up to which
    frequency the capture shows anything, and whether that is too little for its band; ``times`` it was read; ``by_repeats``,
    ``by_instrument``: standard uncertainties of the mean, by how far readings scatter (type A) and of all else (type B).
    """

    shown: Annotated[float, Unit("V", "shown", "shown_pp")]
    value: Annotated[float, Unit("V", "reading", "pp")]
    low: Annotated[float, Unit("V", key="pp_low")]
    high: Annotated[float, Unit("V", key="pp_high")]
    bias: Annotated[float, Unit("V", "noise adds", "noise_adds")]
    source: str
    reach: Annotated[float, Unit("Hz", "reaches to", "reaches_to")] = np.inf
    short: bool = False
    times: Annotated[float, Unit("", "times read", "times_read")] = 1.0
    by_repeats: Annotated[float, Unit("V", "uncertainty by repeats", "uncertainty_by_repeats")] = 0.0
    by_instrument: Annotated[float, Unit("V", "uncertainty by instrument", "uncertainty_by_instrument")] = 0.0

    @property
    def expanded(self) -> Volts[float]:
        """Half the interval: the expanded uncertainty for 19 times in 20."""
        return (self.high - self.low) / 2


@dataclass(frozen=True)
class BurstAnswer:
    """What a capture of the bare converter in bursts shows, beside what the design makes of such bursts.

    ``pulses`` of each, ``switching`` frequency within, ``period`` from burst to burst; ``peak`` of the current into the output capacitor that
    carries ``load_current``. ``expected_pp`` and between which ends nine cases of the converter's values in ten are, in the arrangement of the stated
    ripple, of the burst that the file states or else (``stated`` False) of what was found with such a peak.
    """

    pulses: int
    switching: Hertz[float]
    period: Seconds[float]
    load_current: Amperes[float]
    peak: Annotated[float, Unit("A", "peak of a pulse", "pulse_peak")]
    stated: bool
    expected_pp: Volts[float]
    low: Annotated[float, Unit("V", key="expected_pp_low")]
    high: Annotated[float, Unit("V", key="expected_pp_high")]


@dataclass(frozen=True, eq=False)
class SpectrumAnswer:
    """Harmonics (h,) that the capture before the filter shows clearly.

    ``before``, ``after``: peak of each sine at the tip, without the scope's limit, of which ``kept`` was in the capture behind the filter; ``after_low``, ``after_high``: with noise and gain, 19 times in 20; ``clear``: whether
    that behind the filter is above its noise. ``expected`` behind the filter, and where nine plausible cases in ten are. ``switching``
    frequency of the converter, of which they are multiples, or of the pulses in bursts of whose period they are.
    """

    station: Station
    frequencies: Annotated[np.ndarray, Unit("Hz", key="harmonic")]
    before: Annotated[np.ndarray, Unit("V", key="before_peak")]
    after: Annotated[np.ndarray, Unit("V", key="after_peak")]
    after_low: Annotated[np.ndarray, Unit("V", key="after_peak_low")]
    after_high: Annotated[np.ndarray, Unit("V", key="after_peak_high")]
    clear: np.ndarray
    expected: Annotated[np.ndarray, Unit("V", key="expected_peak")]
    expected_low: Annotated[np.ndarray, Unit("V", key="expected_peak_low")]
    expected_high: Annotated[np.ndarray, Unit("V", key="expected_peak_high")]
    kept: Annotated[np.ndarray, Unit("", key=None)]
    switching: Annotated[float, Unit("Hz", key=None)]

    @property
    def attenuation(self) -> Annotated[np.ndarray, Unit("dB", "attenuation", "attenuation")]:
        """From before the filter to behind it, (h,)."""
        return np.asarray(20 * np.log10(self.before / np.maximum(self.after, 1e-12)))

    @property
    def expected_attenuation(self) -> Annotated[np.ndarray, Unit("dB", "expected attenuation", "expected_attenuation")]:
        """As the design has it, (h,)."""
        return np.asarray(20 * np.log10(self.before / np.maximum(self.expected, 1e-12)))


@dataclass(frozen=True)
class ScopeView:
    """Peak to peak at a ``station``, of the design's nominal values.

    ``there``: what the load sees; ``short``, ``long``: what the scope shows with the shortest and the longest ground lead of its
    `ScopeErrors`; ``clipped``: an earthed one, its clip on the return; ``own_clip``: the same, its tip on its own clip. The last two
    are NaN where that makes no steady state.
    """

    station: Station
    there: Annotated[float, Unit("V", "there", "there_pp")]
    short: Annotated[float, Unit("V", "shortest ground lead", "short_lead_pp")]
    long: Annotated[float, Unit("V", "longest ground lead", "long_lead_pp")]
    clipped: Annotated[float, Unit("V", "earthed, clip on the return", "clipped_pp")] = np.nan
    own_clip: Annotated[float, Unit("V", "tip on its own clip", "own_clip_pp")] = np.nan

    @property
    def fooled(self) -> bool:
        """Whether any of these ways of reading is off by more than `FOOLED`."""
        read = np.array([self.short, self.long, self.clipped])
        return bool(np.nanmax(np.abs(read / self.there - 1)) > FOOLED)


@dataclass(frozen=True)
class Capture:
    """A file, where it was taken, and the channel in it; None: the first load, the first operating point, the first channel."""

    file: str
    place: str | None = None
    point: str | None = None
    channel: str | int | None = None


@dataclass(frozen=True)
class Answer:
    """One reading beside its prediction.

    ``expected``: nominal, ``low`` and ``high`` where nine plausible cases in ten are (the possible range where there are none; of
    the bare converter's stated figure, by how much its file may be off).
    ``outcome``; ``times``: distance of both over their common expanded uncertainty, above 1 they do not agree; ``why`` it
    cannot tell: noise hides it, the capture has not the bandwidth, no ``spike`` is stated that full bandwidth would show, or a bare converter's
    bursts are of no stated ``load`` or ``uneven``.
    """

    station: Station
    reading: BenchReading
    expected: Annotated[float, Unit("V", "expected", "expected_pp")]
    low: Annotated[float, Unit("V", key="expected_pp_low")]
    high: Annotated[float, Unit("V", key="expected_pp_high")]
    outcome: Outcome
    times: Ratio[float]
    why: Why = ""


@dataclass(frozen=True, eq=False)
class BenchResult:
    """What the bench answers.

    ``design``: with the capture of the bare converter in it, where there is one; ``stated``: as its file has it. ``answers``
    in the order in which readings were given, that of the bare converter first; ``spectra``: harmonic by harmonic, of
    captures behind the filter where there is one ``before`` it, ``before_taken`` at which load; ``captures`` by station; ``typed`` readings; ``ripples``: by operating point; ``views``: what the ``scope`` would show
    beside what is there; ``bursts``: what the capture before the filter shows of them; ``louder``: captures behind the filter that show more
    than that before it.
    """

    design: Design
    stated: Design
    answers: tuple[Answer, ...]
    spectra: tuple[SpectrumAnswer, ...]
    typed: tuple[str, ...]
    before: Measurement | None
    before_taken: Taken
    captures: tuple[tuple[Station, tuple[Measurement, ...]], ...]
    ripples: dict[str, RippleResult]
    scope: ScopeErrors
    views: tuple[ScopeView, ...]
    bursts: BurstAnswer | None = None
    louder: tuple[Measurement, ...] = ()

    @property
    def behind(self) -> tuple[Answer, ...]:
        """What was read behind the filter, of which something is expected in its band."""
        return tuple(one for one in self.answers if one.station.point != BARE and one.why not in ("bandwidth", "spike"))

    @property
    def exit_code(self) -> int:
        """0 where every reading agrees, 1 where one does not or cannot tell."""
        return 0 if all(one.outcome == "agrees" for one in self.answers) else 1


@dataclass(frozen=True)
class Taken:
    """``load_current`` that the converter delivered and ``input_voltage`` that it had, while something was read; None: not stated."""

    load_current: Amperes[float | None] = None
    input_voltage: Volts[float | None] = None


@dataclass(frozen=True)
class Fault:
    """A fault of a ``kind`` at a ``part`` ("" at none); ``change`` makes the design with it, ``factor`` is what a reading is multiplied
    with, ``limit_off``: readings in 20 MHz were taken without that limit, ``limit_on``: those in full bandwidth with it; ``lead`` [m] of the probe's ground; ``clipped``: it was
    that of an earthed scope, on the return; ``bursts``: the converter did, where its load is light enough."""

    kind: Kind
    part: str = ""
    change: Callable[[Design], Design] | None = None
    factor: float = 1.0
    limit_off: bool = False
    limit_on: bool = False
    lead: float = 0.0
    clipped: bool = False
    bursts: bool = False

    @property
    def none(self) -> bool:
        """True where the board is as designed."""
        return self.kind == "as designed"

    @property
    def often(self) -> Annotated[float, Unit("", key=None)]:
        """How often people make it, beside others: `OFTEN`."""
        return OFTEN.get(self.kind, 1.0)

    @property
    def act(self) -> tuple[str, str]:
        """What a person does about it, and at which part: the same for faults that need no telling apart."""
        what, at_part = _ACTS.get(self.kind, (self.kind, True))
        return what, self.part if at_part else ""
