"""What is not known exactly of a design: every range of its models, and the tolerances of the filter's parts."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from filterlib.parts.capacitor import Capacitor
from filterlib.system.design import Design
from filterlib.system.inside.converter import Converter
from filterlib.system.line.load import Load
from filterlib.system.line.stages import SeriesChoke
from filterlib.system.ranges.uncertain_parameter import UncertainParameter, ranges, toleranced

ORDER = "converter.ripple.order"
ORDERS = 1.0, 4.0  # of a scope's limit: common practice, no source
NEAREST = 5e-3  # [m] of a lead that lies on the chassis: common practice, no source
_ORDER = "limits of scopes are of first to fourth order (common practice, no source)"
_KEPT = 8  # designs whose parameters are kept: of one that is judged they are asked for again and again
_HEIGHT = "from lying on the chassis to so far from it that it does not matter (common practice, no source)"
_kept: deque[tuple[Design, bool, tuple[UncertainParameter, ...]]] = deque(maxlen=_KEPT)


def uncertain_parameters(design: Design, *, tolerances: bool = True) -> tuple[UncertainParameter, ...]:
    """Everything with a range: of converter, couplings, filter, loads and clip, and (``tolerances``) of the filter's and the loads' parts.

    The order is kept: random points go by it. Unit and label of each are those at the field of its model.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> design = filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml")
    >>> duty = filterlib.uncertain_parameters(design)[0]
    >>> duty.key, duty.nominal
    ('converter.duty', 0.55)
    """
    for one, with_tolerances, found in tuple(_kept):
        if one is design and with_tolerances == tolerances:
            return found
    found = _parameters(design, tolerances)
    _kept.append((design, tolerances, found))
    return found


def _parameters(design: Design, tolerances: bool) -> tuple[UncertainParameter, ...]:
    driven = design.driven
    parameters = [*ranges("converter", design.converter, driven=driven), *_limit(design.converter)]
    for pair in design.all_couplings:
        key = f"coupling.{pair.name}"  # of its one value too
        parameters += (replace(one, key=key) for one in ranges(key, pair, owner=f"{pair.first} and {pair.second}"))
    for stage in design.filter:
        parameters += ranges(f"filter.{stage.name}", stage, owner=stage.name, driven=driven)
    for load in design.loads:
        parameters += ranges(f"load.{load.name}", load, owner=load.name, driven=driven)
        parameters += _height(load) if driven else ()
    if design.clip is not None:
        parameters += ranges("clip", design.clip)
    if tolerances:
        for stage in design.filter:
            parameters += toleranced(f"filter.{stage.name}", stage.part, owner=stage.name)
            if isinstance(stage, SeriesChoke) and stage.damping is not None and stage.damping.part is not None:
                key, owner = f"filter.{stage.name}.damping", f"the damping of {stage.name}"
                parameters += toleranced(key, stage.damping.part, owner=owner)
        for load in design.loads:
            if load.lead is not None:
                parameters += toleranced(f"load.{load.name}.lead", load.lead, owner=f"the lead of {load.name}")
            if load.input_capacitor is not None:
                key, owner = f"load.{load.name}.input_capacitor", f"the input capacitor of {load.name}"
                parameters += toleranced(key, load.input_capacitor.part, owner=owner)
    wet, coldest = dict(_capacitors(design)), min(point.temperature for point in design.operating_points)
    return tuple(_grown(one, wet[one.key], coldest) if one.key in wet else one for one in parameters)


def label_of(design: Design, key: str) -> str:
    """What the uncertain parameter of a key is, in words; "" where the design has none.

    >>> import filterlib
    >>> from filterlib.parts.tables import data_folder
    >>> label_of(filterlib.load_design(data_folder() / "designs" / "tide-gauge-clean.toml"), "converter.duty")
    'duty cycle'
    """
    return next((one.label for one in uncertain_parameters(design) if one.key == key), "") if key else ""


def _limit(converter: Converter) -> Iterator[UncertainParameter]:
    """The order of the scope's limit, where a ring passes it in part and the file does not state it."""
    ripple = converter.ripple
    passes = ripple.bandwidth is not None and ripple.recording is None and converter.spike is not None
    if passes and "order" not in ripple.model_fields_set:
        nominal = float(np.max(ripple.order))
        moved = None if nominal == 1 else 1.0
        yield UncertainParameter(ORDER, "order of the scope's limit", "", nominal, *ORDERS, False, _ORDER, moved)


def _height(load: Load) -> Iterator[UncertainParameter]:
    """That of a lead, where none is stated: at most as if what both conductors carry returned far away."""
    pair = load.lead
    if pair is None or "height" in pair.model_fields_set:
        return
    low, high = max(NEAREST, float(np.max(pair.diameter))), float(np.max(pair.length)) / np.e
    if high > 2 * low:
        label = f"height of the lead of {load.name} above the chassis"
        yield UncertainParameter(f"load.{load.name}.lead.height", label, "m", high, low, high, False, _HEIGHT)


def _capacitors(design: Design) -> Iterator[tuple[str, Capacitor]]:
    """Key of each capacitor's ESR, and the capacitor."""
    places: list[tuple[str, object]] = [(f"filter.{stage.name}", stage) for stage in design.filter]
    places += [(f"load.{load.name}.input_capacitor", load.input_capacitor) for load in design.loads]
    for key, place in places:
        if isinstance(part := getattr(place, "part", None), Capacitor):
            yield f"{key}.esr", part


def _grown(one: UncertainParameter, part: Capacitor, coldest: float) -> UncertainParameter:
    """An ESR whose range also holds what it may be in the cold."""
    growth = part.cold_growth(coldest)
    if growth == 1.0:
        return one
    why = (
        f"{one.why}; and in the cold, where no curve is stated, {growth:.2g} times as much (common practice, no source)"
    )
    return replace(one, high=float(part.in_the_cold(one.high, coldest)), stated=False, why=why)
