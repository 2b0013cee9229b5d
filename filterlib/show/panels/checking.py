"""Whether a panel does what it promises: every control driven to its ends, every change noticed."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import partial
from types import NoneType

import numpy as np

from filterlib.errors import FilterlibError
from filterlib.show.panels.controls import Choice, Control
from filterlib.show.panels.marks import R
from filterlib.show.panels.panel_state import D
from filterlib.show.panels.session import Session

FIRST, PAUSE = 1.0, 0.05  # [s] before a check begins, and between two of its steps: what a slider moves comes first
SAME = 1e-9  # relative change that counts as none: rounding


class PanelError(FilterlibError):
    """A panel that does not do what it promises; the message names control and end."""


def check(session: Session[D, R]) -> None:
    """See `Panel.check`. Raises PanelError with all that is wrong."""
    twin = session.twin()
    faults = [*_start_faults(twin), *(fault for found in _steps(twin) for fault in found)]
    if faults:
        _refuse(faults)


def opened_by_a_person() -> bool:
    """True in a kernel that a notebook server started, which tells it the notebook's name; false where a notebook is run through."""
    return "JPY_SESSION_NAME" in os.environ


async def check_meanwhile(session: Session[D, R]) -> None:
    """The same for who plays with the panel at once: step by step, while it is at rest, which takes what is refined at the start
    from the panel itself. What is wrong stays on the panel.

    Raises PanelError with all that is wrong.
    """
    await _rest(session, FIRST)
    faults: list[_Fault] = []
    for found in _steps(session.twin()):
        faults += found
        await _rest(session, PAUSE)
    if faults:
        session.guarded(partial(_refuse, faults))


async def _rest(session: Session[D, R], pause: float) -> None:
    """Pause, and for as long as sliders move or what takes longer is computed."""
    await asyncio.sleep(pause)
    while not session.quiet:
        await asyncio.sleep(PAUSE)


def _refuse(faults: list[_Fault]) -> None:
    raise PanelError("\n".join(faults)) from next((fault.cause for fault in faults if fault.cause), None)


class _Fault(str):
    """What is wrong, and the exception that it came from."""

    cause: Exception | None = None


def _steps(twin: Session[D, R]) -> Iterator[list[_Fault]]:
    """What is wrong with each control at each of its ends."""
    for name, control in twin.state.controls.items():
        yield from _control_faults(twin, name, control)


def _start_faults(session: Session[D, R]) -> Iterator[_Fault]:
    yield from (_Fault(f"at the start: {fault}") for fault in session.picture.faults())
    try:
        session.refine()
        yield from (_Fault(f"at the start, refined: {fault}") for fault in session.picture.faults())
    except Exception as error:
        yield _caused(f"at the start, refined: {_named(error)}", error)


def _control_faults(session: Session[D, R], name: str, control: Control | Choice) -> Iterator[list[_Fault]]:
    """End by end, then what both together say."""
    results: list[R] = []
    pictures, start = [], session.state
    for words, at in _ends(control).items():
        session.state = start.copy()
        try:
            session.state.step_to(name, at)
            session.update()
        except Exception as error:
            yield [_caused(f"{control.label} {words}: {_named(error)}", error)]
            continue
        results.append(session.result)
        pictures.append(session.picture.pixels().copy())
        yield [_Fault(f"{control.label} {words}: {fault}") for fault in session.picture.faults()]
    session.state = start
    if len(results) > 1:
        own = type(session.design)
        if all(same(results[0], other, but=own) for other in results[1:]):
            yield [_Fault(f"{control.label}: does nothing, the result is the same at both ends")]
        elif all(np.array_equal(pictures[0], other) for other in pictures[1:]):
            yield [_Fault(f"{control.label}: changes the result, and the picture stays as it is")]


def _ends(control: Control | Choice) -> dict[str, int]:
    """Positions to be tried, by their words: every option, or both ends."""
    if isinstance(control, Choice):
        return {word: at for at, word in enumerate(control.words)}
    ends = (("low end", 0), ("high end", -1))
    return {f"at its {end}, {control.text(control.values[at])}": at for end, at in ends}


def _named(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"


def _caused(text: str, error: Exception) -> _Fault:
    fault = _Fault(text)
    fault.cause = error
    return fault


def same(one: object, two: object, *, but: type = NoneType) -> bool:
    """Whether two results are the same to rounding, all the way down; what is of the type ``but`` is not compared.

    >>> same({"a": np.array([1.0, 2.0])}, {"a": np.array([1.0, 2.0 + 1e-12])}), same((1.0,), (1.1,))
    (True, False)
    """
    if isinstance(one, but) and isinstance(two, but):
        return True
    if type(one) is not type(two):
        return False
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(two, f.name), but=but) for f in fields(one))
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(same(one[key], two[key], but=but) for key in one)
    if isinstance(one, list | tuple) and isinstance(two, list | tuple):
        return len(one) == len(two) and all(same(a, b, but=but) for a, b in zip(one, two, strict=True))
    if isinstance(one, np.ndarray | float | complex | np.number):
        return _alike(np.asarray(one), np.asarray(two))
    return bool(one == two)


def _alike(one: np.ndarray, two: np.ndarray) -> bool:
    if one.shape != two.shape or one.dtype.kind not in "fciu":
        return one.shape == two.shape and bool(np.array_equal(one, two))
    return bool(np.allclose(one, two, rtol=SAME, atol=0, equal_nan=True))
