"""The nominal values of a design, moved within their ranges where all readings do not agree at them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import cast

import numpy as np

from filterlib.errors import FilterlibError, InputError, Problem
from filterlib.network.extremes import Real
from filterlib.system.design import Design, with_values
from filterlib.system.inside.arrangement import Arrangement
from filterlib.system.ranges.places import path, rebuilt
from filterlib.system.ranges.uncertain_parameter import UncertainParameter
from filterlib.system.ranges.uncertain_parameters import ORDER, ORDERS, uncertain_parameters
from filterlib.system.sources.contradictions import contradiction
from filterlib.system.sources.scales import INSTRUMENTS
from filterlib.system.sources.source_spectra import ScaleError, source_spectra
from filterlib.units import format_quantity

ALONE = 9  # shares of its range at which each uncertain parameter is tried alone
DRAWS, EACH = (
    96,
    24,
)  # combinations that are tried at a time, and at most so many for each parameter: spread evenly, of corners, and near the best one
WIDTHS = 0.5, 0.3, 0.2, 0.1, 0.05  # shares of the ranges, in which the best one is bettered where none agrees
CLOSER = 11  # steps back to the nominal value, three times, each time between the last two
HOPELESS = 100.0  # times what is stated, from which on no combination is sought where no parameter alone comes nearer: no source
BEYOND = 0.2  # of the way from where the readings just agree to where they surely do, so that there is some ripple: no source
SOME = 0.01  # share beyond where readings just agree, at which a figure is taken, so that several combinations do
OTHERWISE = (
    "converter.spike.ring_start",
    "converter.spike.second_edge",
)  # which are moved last, each by itself: see `agreeing`
_CHUNK = 16  # combinations that are solved at a time
_ROUGH = 64  # the same within two percent: see `filterlib.system.sources.scales`
GAIN = 1e-3  # share by which a round of the search has to better the best one, else it is the last


def agreeing(design: Design, file: str = "") -> Design:
    """The design with the nominal values nearest to its own at which its stated figures agree.

    Parameters
    ----------
    design : Design
        One design; it comes back as it is where they agree already.
    file : str
        Named in the message.

    Raises
    ------
    InputError
        Where no combination agrees: which stated value is in the way, by how much, and from which value on they would agree.

    Notes
    -----
    One uncertain parameter alone where that is enough, else the nearest of many combinations, of which each is put back to
    its nominal value that can be; then pulled back towards the nominal values nearly as far as the readings agree. Where nothing agrees and the order of the
    scope's limit is not stated, the second order is tried: many scopes have it (common practice, no source); then
    a ring at one of the two edges alone, as where one of them is slow; then spikes faster than the ring whose frequency is stated; then either as it is
    across an inductance, of which a limit leaves least, up to the fourth order. Where still nothing does, by less than two
    figures of a scope may be off, the figure in the way is taken as that much more, and says so (``moved_from``).

    Examples
    --------
    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> agreeing(design) is design
    True
    """
    missed = []
    for one in _ways(design):
        if _agrees(one):
            return one
        try:
            return _moved(one)
        except _ApartError as error:
            missed.append((one, error.shares))
    nearest, shares = min(missed, key=lambda way: way[1].max())
    if shares.max() > np.exp(INSTRUMENTS) or any(one.moved_from for one in _figures(design)):
        raise InputError([_refusal(nearest, shares, file)])
    return agreeing(_read_otherwise(design, shares), file)


class _ApartError(FilterlibError):
    """No combination agrees; ``shares`` of what was stated that ripple and spike need at least, at the nearest one (2,)."""

    def __init__(self, shares: Real) -> None:
        super().__init__("")
        self.shares = shares


def _agrees(design: Design) -> bool:
    try:
        source_spectra(design.converter, design.full_current)
    except ScaleError:
        return False
    return True


def _ways(design: Design) -> Iterator[Design]:
    """As it is stated, or what else may be of which the file says nothing: a steeper limit, and another ring."""
    steeper, spike = tuple(_steeper(design)), design.converter.spike
    usual = (design, *steeper[:1])
    yield from usual
    if spike is not None:
        one_edge = () if spike.second_edge.stated else (spike.ringing_at_one_edge(),)
        faster = (spike.of_the_edges(),) if spike.ring_frequency.stated else ()
        yield from (_with(one, spike=other) for other in (*one_edge, *faster) for one in usual)
        high = () if spike.ring_start.stated else tuple(one.across_an_inductance() for one in (spike, *faster))
        yield from (_with(one, spike=other) for other in high for one in (design, *steeper))


def _steeper(design: Design) -> Iterator[Design]:
    """Behind limits of the second order and above, where the file does not state the order of the scope's."""
    ripple = design.converter.ripple
    if ripple.order == 1 and "order" not in ripple.model_fields_set and ripple.bandwidth is not None:
        for order in range(2, int(ORDERS[1]) + 1):
            steeper = ripple.model_copy(update={"order": order})
            steeper.model_fields_set.discard("order")  # it is no statement of the file
            yield _with(design, ripple=steeper)


def _with(design: Design, **figures: Arrangement) -> Design:
    return design.model_copy(update={"converter": design.converter.model_copy(update=figures)})


def _read_otherwise(design: Design, shares: Real) -> Design:
    """The figure that stands in the way as another scope might have read it, `SOME` beyond where readings just agree."""
    name = ("ripple", "spike")[int(np.argmax(shares))]
    figure = getattr(design.converter, name)
    return _with(design, **{name: figure.read_as(figure.peak_to_peak * float(shares.max()) * (1 + SOME))})


def _moved(design: Design) -> Design:
    known = uncertain_parameters(design, tolerances=False)
    box = tuple(one for one in known if one.key.startswith("converter.") and one.key not in (ORDER, *OTHERWISE))
    nominal, rng = np.array([one.share(one.nominal) for one in box]), np.random.default_rng(1)
    rows = _alone(nominal)
    agree, shares = _tried(design, box, rows)
    count = min(DRAWS, EACH * len(box))
    for width in () if np.any(agree) or shares.max(axis=1).min() > HOPELESS else WIDTHS:
        near = rows[np.argmin(shares.max(axis=1))] + width * rng.standard_normal((count, len(box)))
        anywhere = (rng.random((count, len(box))), 1.0 * rng.integers(0, 2, (count, len(box))))
        further = np.concatenate([np.clip(near, 0, 1), *(anywhere if width == WIDTHS[0] else ())])
        more, most = _tried(design, box, further)
        least = shares.max(axis=1).min()
        rows, agree, shares = np.concatenate([rows, further]), np.append(agree, more), np.concatenate([shares, most])
        if np.any(agree) or (width != WIDTHS[0] and most.max(axis=1).min() > (1 - GAIN) * least):
            break
    far = np.where(agree, np.linalg.norm(rows - nominal, axis=1), np.inf)
    nearest = (rows[at] for at in np.argsort(far)[: np.sum(agree)])
    found = next((one for one in nearest if _tried(design, box, one[None])[0][0]), None)
    if found is None:
        raise _ApartError(_tried(design, box, rows[[np.argmin(shares.max(axis=1))]])[1][0])
    best = _closer(design, box, nominal, _put_back(design, box, nominal, found))
    places = {path(design, one.key): float(one.at(best[n])) for n, one in enumerate(box) if best[n] != nominal[n]}
    return cast(Design, rebuilt(design, places, _move))


def _alone(nominal: Real) -> Real:
    """Each parameter in turn at shares of its range, the others nominal; (parameters * ALONE, parameters)."""
    rows = np.repeat(nominal[None], len(nominal) * ALONE, axis=0)
    for index in range(len(nominal)):
        rows[index * ALONE : (index + 1) * ALONE, index] = np.linspace(0, 1, ALONE)
    return rows


def _closer(design: Design, box: Sequence[UncertainParameter], nominal: Real, found: Real) -> Real:
    """A little beyond the nearest agreeing point on the way from the nominal values to one that agrees."""
    left, right = 0.0, 1.0
    for _ in range(3):
        steps = np.linspace(left, right, CLOSER)[1:]
        agree = _tried(design, box, nominal + steps[:, None] * (found - nominal))[0]
        first = int(np.argmax(agree)) if np.any(agree) else len(steps) - 1
        left, right = (float(steps[first - 1]) if first else left), float(steps[first])
    for way in (right + BEYOND * (1 - right), 1.0):
        there = np.asarray(nominal + way * (found - nominal))
        if _tried(design, box, there[None])[0][0]:
            break
    return there


def _put_back(design: Design, box: Sequence[UncertainParameter], nominal: Real, found: Real) -> Real:
    """With every parameter at its nominal value that need not have moved, those that moved least first."""
    for index in np.argsort(np.abs(found - nominal)):
        without = found.copy()
        without[index] = nominal[index]
        found = without if _tried(design, box, without[None])[0][0] else found
    return found


def _tried(design: Design, box: Sequence[UncertainParameter], rows: Real) -> tuple[np.ndarray, Real]:
    """Which combinations (rows, parameters) agree, and what ripple and spike need at least of what was stated, (rows, 2)."""
    # beside common mode a search in a search: by samples, where they are many
    step = _ROUGH if design.driven else _CHUNK
    parts = [_few(design, box, rows[at : at + step]) for at in range(0, len(rows), step)]
    agree, needed = (np.concatenate(some) for some in zip(*parts, strict=True))
    return agree, needed / _stated(design)


def _few(design: Design, box: Sequence[UncertainParameter], rows: Real) -> tuple[np.ndarray, Real]:
    """Which agree, and the least that ripple and spike could be in each, (rows, 2) [V]."""
    moved = with_values(design, {one.key: one.at(rows[:, [index]]) for index, one in enumerate(box)})
    spectra = source_spectra(moved.converter, design.full_current)
    needed = [np.broadcast_to(np.ravel(one), len(rows)) for one in spectra.needed]
    return np.broadcast_to(np.ravel(spectra.feasible), len(rows)), np.stack(needed, axis=1)


def _stated(design: Design) -> Real:
    pair = design.converter.ripple, design.converter.spike
    return np.array([np.inf if one is None else one.peak_to_peak for one in pair])


def _figures(design: Design) -> Iterator[Arrangement]:
    return (one for one in (design.converter.ripple, design.converter.spike) if one is not None)


def _refusal(design: Design, shares: Real, file: str) -> Problem:
    """Of the combination that comes nearest to agreeing; its needs as shares of what was stated."""
    converter, stated = design.converter, _stated(design)
    needed = [float(share * one) if np.isfinite(one) else 0.0 for share, one in zip(shares, stated, strict=True)]
    key, why = contradiction(converter, *needed)
    value = format_quantity(float(stated[1 if "spike" in key else 0]), "V")
    advice = _KNOWN_BETTER if converter.spike is not None and "ripple" in key else ""
    nearest = "no combination within the ranges of the file comes nearer"
    return Problem(file, key, value, f"{why.split(': ', 1)[1]}; {nearest}{advice}")


_KNOWN_BETTER = ". If you know them, state the order of the scope's limit ([converter.ripple] order) and [converter.spike] ring_frequency"


def _move(model: object, values: dict[str, object]) -> object:
    """A model whose ranges have other nominal values."""
    moved = {
        name: getattr(model, name).moved(value) if hasattr(getattr(model, name), "moved") else value
        for name, value in values.items()
    }
    return model.model_copy(update=moved)  # type: ignore[attr-defined]
