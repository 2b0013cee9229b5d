"""The inside of a converter, from two recordings of its terminals: as they are, and with a known capacitor across them."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from filterlib.analysis.uncertainty.measurement_result import LEAST_MOVE, TELLS
from filterlib.bench.capture.harmonics import CLEAR, Harmonics, harmonics
from filterlib.bench.capture.measurement import BANDWIDTH, Measurement, measure, over_the_longer
from filterlib.bench.capture.recording import Recording
from filterlib.bench.inside import Estimate, FitError, InsideFit
from filterlib.bench.one_capacitor import FITTED, OneCapacitor
from filterlib.bench.readings import LARGEST_MISFIT, VALUES, Readings, Setup
from filterlib.errors import FilterlibError, QuantityError, did_you_mean
from filterlib.system.inside.converter import Arrangement, Converter, FixtureCapacitor
from filterlib.units import format_quantity, quantity

UNDECIDED = 0.3
"""A value whose standard uncertainty is a larger share of it is not decided by the readings."""
READ = 1e-4
"""Share of the strongest harmonic, to which each is read at best: levels of the scope, and periods of no whole samples."""
FEWEST, MOST = 3, 48
"""Harmonics; of more, as many are taken, evenly spread over the octaves."""
_SAME_CLOCK, _SAME_DESIGN = 0.01, 0.05  # shares by which switching frequencies of one converter may differ


def fit_inside(
    bare: Recording | Measurement,
    loaded: Recording | Measurement,
    test_capacitor: FixtureCapacitor,
    converter: Converter,
    load_current: float,
    *,
    arrangement: Arrangement | None = None,
    tolerance: float = 0.01,
    drift: float = 0.01,
    needed: tuple[str, ...] = tuple(VALUES),
) -> InsideFit:
    """Identify what is inside a converter from its terminals' ripple, without and with a capacitor across them.

    Parameters
    ----------
    bare, loaded : Recording or Measurement
        Without and with the capacitor; same converter, same load, same bandwidth. No common trigger is needed.
    test_capacitor : FixtureCapacitor
        As measured at about the switching frequency, with its clips.
    converter : Converter
        States the regulating branch, and how ESL and lead share their sum; its C, ESR and inductances are where the search
        begins, and no more.
    load_current : float
        Drawn in both recordings [A].
    arrangement : Arrangement, optional
        What else was connected at the probe in both; nothing by default.
    tolerance : float
        Standard uncertainty of the test capacitor's capacitance, as a share; `filterlib.bench.readings.PARASITICS` says by
        how much less its ESR and ESL are known.
    drift : float
        Standard uncertainty of the ratio of both recordings' scales, as a share: scope, supply and temperature.
    needed : tuple of str
        Of "capacitance", "esr" and "inductance" those without which there is no result.

    Returns
    -------
    InsideFit

    Raises
    ------
    FitError
        Where the readings do not decide: no single period, different switching frequencies or bandwidths, under three
        harmonics above the noise, a reading that the capacitor hardly moves, a value with an uncertainty above
        `UNDECIDED`, or readings that no capacitor with ESR and inductance explains.
    QuantityError
        For an argument that cannot be.

    Notes
    -----
    Harmonic by harmonic V_bare / V_loaded = 1 + Z / Z_test, Z being what the terminals show with load and arrangement
    (Thévenin's theorem). The residual V_bare - ratio V_loaded exp(j k delay) is weighed with the noise of both. What is
    not known of test capacitor, scales and loop is carried into the uncertainties to first order: JCGM 100:2008 (GUM),
    section 5.1, from memory. A bank of unequal capacitors is not one capacitor: where noise does not explain the
    residuals, a misfit in proportion to the inner impedance, alike within an octave, is taken as likely as the residuals
    make it: M. C. Kennedy and A. O'Hagan, Bayesian calibration of computer models, J. R. Statist. Soc. B 63 (2001) 425,
    with the likelihood of H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545, both from memory.

    Valid while capacitors and leads are small against the wavelength: harmonics to 20 MHz are used. The values are those
    of one capacitor that acts as the inside does where the harmonics are strong; a bank may hold more capacitance behind
    its ESR. Here the invented bank holds 19.6 µF.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> files = ("clean-terminals.csv", "clean-terminals-with-capacitor.csv")
    >>> readings = [filterlib.load_recording(data_folder() / "recordings" / file) for file in files]
    >>> across = filterlib.FixtureCapacitor(capacitance="10.2 µF", esr="5 mΩ", esl="8 nH")
    >>> found = filterlib.fit_inside(*readings, across, design.converter, 4.0)
    >>> filterlib.format_quantity(found.capacitance.value, "F", 2)
    '17 µF'
    """
    for name in needed:
        if name not in VALUES:
            raise QuantityError(did_you_mean(name, VALUES), name="needed", value=name)
    return _fit(readings_of(bare, loaded, test_capacitor, converter, load_current, arrangement=arrangement,
                            tolerance=tolerance, drift=drift), needed)  # fmt: skip


def readings_of(
    bare: Recording | Measurement,
    loaded: Recording | Measurement,
    test_capacitor: FixtureCapacitor,
    converter: Converter,
    load_current: float,
    *,
    arrangement: Arrangement | None = None,
    tolerance: float = 0.01,
    drift: float = 0.01,
    fewest: int = FEWEST,
    most: int = MOST,
) -> Readings:
    """The harmonics of both that are above the noise, ``fewest`` at least and ``most`` of them, and how they were taken.

    Parameters and Raises as of `fit_inside`.
    """
    for name, share in {"tolerance": tolerance, "drift": drift}.items():
        quantity(share, "", above=0, below=1, name=name)
    current = quantity(load_current, "A", low=0, name="load_current")
    measured = [measure(one) if isinstance(one, Recording) else one for one in (bare, loaded)]
    measured = [*over_the_longer(*measured)]
    first, second = (_harmonics(one, name) for one, name in zip(measured, ("bare", "loaded"), strict=True))
    _refuse_unlike(measured, first, second, converter)
    usual = converter.replace(switching_frequency=float(first.frequencies[0]), bulk_esr_ratio=1.0)
    setup = Setup(usual, test_capacitor, arrangement or Arrangement(), current, tolerance, drift)
    return _readings(setup, first, second, fewest, most)


def _harmonics(measured: Measurement, name: str) -> Harmonics:
    try:
        lines = harmonics(measured, top=BANDWIDTH)
    except FilterlibError as error:
        raise FitError(f"{name}: {error}") from None
    if not lines.orders.size:
        raise FitError(f"{name}: not one harmonic lies within the recording's bandwidth")
    return lines


def _refuse_unlike(measured: list[Measurement], first: Harmonics, second: Harmonics, converter: Converter) -> None:
    """Two recordings that cannot be of the same converter, or were not taken alike."""
    one, two = float(first.frequencies[0]), float(second.frequencies[0])
    shown = [format_quantity(value, "Hz", 4) for value in (one, two, converter.switching_frequency)]
    if abs(one - two) > _SAME_CLOCK * one:
        message = f"the recordings switch at {shown[0]} and {shown[1]}"
        raise FitError(f"{message}: both are needed of the same converter, at the same load")
    if min(abs(n * one - converter.switching_frequency) for n in (1, 2)) > _SAME_DESIGN * one:
        raise FitError(f"the recordings switch at {shown[0]}, and converter.switching_frequency = {shown[2]}")
    widths = [each.recording.bandwidth for each in measured]
    if widths[0] and widths[1] and widths[0] != widths[1]:
        limits = " and ".join(format_quantity(width, "Hz") for width in widths if width)
        raise FitError(f"the recordings' bandwidths differ, {limits}: take both with the same limit")


def _readings(setup: Setup, first: Harmonics, second: Harmonics, fewest: int, most: int) -> Readings:
    """The harmonics of both at which the bare terminals are well above the noise."""
    both = min(first.orders.size, second.orders.size)
    noise = [np.hypot(one.noise, READ * np.abs(one.coefficients).max())[:both] for one in (first, second)]
    clear = np.flatnonzero(np.abs(first.coefficients[:both]) > CLEAR * noise[0])
    if clear.size < fewest:
        why = f"{clear.size} harmonics of the bare terminals are above the noise, and {fewest} are needed"
        raise FitError(f"{why}: fill the screen, record longer, or in a wider band")
    if clear.size > most:
        octaves = np.log2(first.orders[clear])
        spread = np.linspace(octaves[0], octaves[-1], most)
        clear = clear[np.unique(np.argmin(np.abs(octaves - spread[:, None]), axis=1))]
    parts = (first.coefficients, noise[0], second.coefficients, noise[1])
    readings = Readings(setup, first.orders[clear], first.frequencies[clear], *(part[clear] for part in parts))
    if (share := readings.moved()) < LEAST_MOVE:
        raise FitError(_unmoved("any harmonic", share, readings))
    return readings


def _fit(readings: Readings, needed: tuple[str, ...]) -> InsideFit:
    inside = OneCapacitor(readings)
    values, misfit = inside.likeliest()
    strays = np.abs(inside.whitened(values, 0.0)[0]) / np.sqrt(2)
    if misfit >= LARGEST_MISFIT:
        raise FitError(_contradiction(readings, strays))
    covariance = inside.covariance(values, misfit)
    spreads = np.sqrt(np.diag(covariance))
    level = {name: float(np.exp(values[name])) for name in VALUES}
    estimates = {name: Estimate(level[name], level[name] * float(spreads[n])) for n, name in enumerate(VALUES)}
    correlation = covariance / np.outer(spreads, spreads)
    fundamental = float(readings.frequencies[0] / readings.orders[0])
    result = InsideFit(
        **estimates,
        correlations={(FITTED[m], FITTED[n]): float(correlation[m, n]) for m, n in combinations(range(len(VALUES)), 2)},
        frequency=fundamental,
        delay=float(np.mod(values["delay"] / (2 * np.pi), 1) / fundamental),
        orders=readings.orders,
        frequencies=readings.frequencies,
        ratio=readings.bare / readings.late(values),
        fitted=inside.ratio(values),
        strays=strays,
        chi_square=float(np.sum(np.abs(inside.whitened(values, misfit)[0]) ** 2)),
        degrees=2 * readings.orders.size - len(FITTED),
        misfit=misfit,
        undecided=tuple(name for name, one in estimates.items() if not one.relative <= UNDECIDED),
    )
    strongest = int(np.argmax(np.abs(readings.bare)))
    if (share := float(result.moved[strongest])) < LEAST_MOVE:
        raise FitError(_unmoved(f"the strongest harmonic, {readings.orders[strongest]},", share, readings))
    _refuse_undecided(readings, result, needed)
    return result


def _refuse_undecided(readings: Readings, fit: InsideFit, needed: tuple[str, ...]) -> None:
    lost = [name for name in fit.undecided if name in needed]
    if lost:
        listed = ", ".join(_in_words(fit, name) for name in VALUES)
        raise FitError(
            f"the data do not determine {' and '.join(lost)} inside: {listed}; a standard uncertainty above {UNDECIDED:.0%} "
            f"says nothing. The first harmonic moved by {fit.moved[0]:.1%}; {_advice(readings)}"
        )


def _unmoved(which: str, share: float, readings: Readings) -> str:
    return f"the capacitor moves {which} by {share:.1%} only, and {LEAST_MOVE:.0%} are needed; {_advice(readings)}"


def _in_words(fit: InsideFit, name: str) -> str:
    estimate = getattr(fit, name)
    value = format_quantity(estimate.value, VALUES[name])
    return f"{name} {value} ± {estimate.relative:.0%}" if estimate.relative < 1 else f"{name} unknown"


def _advice(readings: Readings) -> str:
    """Which capacitor would determine more."""
    first = format_quantity(readings.frequencies[0], "Hz", 3)
    size = format_quantity(float(readings.setup.test.capacitance), "F")
    return f"instead of {size} take a capacitor whose impedance at {first} is {TELLS[0]:g} to {TELLS[1]:g} times the inner one"


def _contradiction(readings: Readings, strays: np.ndarray) -> str:
    """No inside makes both readings; which harmonics say so."""
    worst = sorted(np.argsort(-strays)[:4])
    which = ", ".join(f"{readings.orders[n]} ({format_quantity(readings.frequencies[n], 'Hz')})" for n in worst)
    message = (
        f"no capacitor with ESR and inductance makes both readings, not even to {LARGEST_MISFIT:.0%} of its impedance; "
        f"harmonics {which} lie farthest off"
    )
    above = readings.frequencies > readings.setup.resonance
    if np.any(above) and np.median(np.abs(readings.bare[above]) / np.abs(readings.loaded[above])) < 1:
        return (
            f"{message}. Above the capacitor's own resonance the reading with it is the larger: were the two swapped?"
        )
    return f"{message}. Are they of the same converter and load, and is this the capacitor that was fitted?"
