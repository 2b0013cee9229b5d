"""Where the controls of a panel stand, and the design that this makes: no picture, no browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Any

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.show.panels.controls import Choice, Control
from filterlib.system import changes
from filterlib.system.design import Design
from filterlib.units import quantity

LOOSE = -1  # position of a choice whose sliders were moved away from it


def change(thing: Any, values: Mapping[str, Any]) -> Any:
    """A frozen thing with other values: a `Design` by the keys of its file, anything else by the names of its fields."""
    if isinstance(thing, Design):
        return changes.changed(thing, values)
    if not values:
        return thing
    return thing.replace(**values) if hasattr(thing, "replace") else replace(thing, **values)


def read(thing: Any, name: str) -> Any:
    """What `change` would replace."""
    return changes.value(thing, name) if isinstance(thing, Design) else getattr(thing, name)


class State:
    """The positions of controls.

    A slider that a choice governs follows it until it is moved; the choice is then loose, and chosen anew it takes its
    sliders back.
    """

    def __init__(
        self, start: Any, controls: Sequence[Control | Choice], change: Callable[[Any, Mapping[str, Any]], Any] = change
    ) -> None:
        self.start, self._change = start, change
        self.choices = {one.name: one for one in controls if isinstance(one, Choice)}
        self.governor: dict[str, Choice] = {}
        self.controls: dict[str, Control | Choice] = {}
        for one in controls:
            if one.name in self.controls:
                raise FilterlibError(f'two controls are called "{one.name}"')
            self.controls[one.name] = self._begun(one) if isinstance(one, Control) else one
        self._begun_at = {name: word for name, choice in self.choices.items() if (word := self._held(choice))}
        self.back()

    def _begun(self, control: Control) -> Control:
        """A slider that knows its start; the governed one keeps none but its own."""
        governor = next((choice for choice in self.choices.values() if choice.governs(control)), None)
        if governor is not None:
            self.governor[control.name] = governor
            return control
        return control if control.start is not None else control.beginning(float(read(self.start, control.name)))

    def back(self) -> None:
        """Everything as it was at the start."""
        self.words = {name: self._first(choice) for name, choice in self.choices.items()}
        self.moved: dict[str, float] = {}
        for name, control in self.sliders():
            if control.start is not None:
                self.moved[name] = control.start

    def _first(self, choice: Choice) -> str:
        return choice.start or self._begun_at.get(choice.name) or choice.words[0]

    def _held(self, choice: Choice) -> str | None:
        """The option that the start design has, if any."""
        try:
            held = read(self.start, choice.name)
        except (FilterlibError, AttributeError):
            return None
        return next((word for word, option in choice.options.items() if option == held), None)

    def sliders(self) -> Iterator[tuple[str, Control]]:
        """Name and slider, in order."""
        for name, control in self.controls.items():
            if isinstance(control, Control):
                yield name, control

    def value(self, name: str) -> Any:
        """Where a control stands: a number, or the words of a choice."""
        if name in self.words:
            return self.words[name]
        if name in self.moved:
            return self.moved[name]
        choice = self.governor[name]
        return choice.of(self.controls[name], self.words[choice.name])  # type: ignore[arg-type]

    def loose(self, name: str) -> bool:
        """True where sliders were moved away from a choice."""
        return any(self.governor[moved].name == name for moved in self.moved if moved in self.governor)

    def place(self, name: str) -> int:
        """The position of a control, as the front shows it."""
        control = self.controls[name]
        if isinstance(control, Choice):
            return LOOSE if self.loose(name) else control.words.index(self.words[name])
        return control.place(self.value(name))

    def set(self, name: str, given: Any) -> None:
        """Move a slider to a value (a number or text), or a choice to an option. Raises FilterlibError."""
        control = self.named(name)
        if isinstance(control, Choice):
            if given not in control.options:
                raise FilterlibError(
                    f'{control.label}: no option "{given}"; {did_you_mean(str(given), control.options)}'
                )
            self.words[name] = given
            for slider in [slider for slider, choice in self.governor.items() if choice is control]:
                self.moved.pop(slider, None)
            return
        value = quantity(given, control.unit, low=control.low, high=control.high, name=control.label)
        self.moved[name] = value

    def step_to(self, name: str, place: int) -> None:
        """Move a control to a position."""
        control = self.named(name)
        if isinstance(control, Choice):
            self.set(name, control.words[place])
        else:
            self.moved[name] = control.values[place]

    def named(self, name: str) -> Control | Choice:
        """The control of that name. Raises FilterlibError with the nearest one."""
        if name not in self.controls:
            raise FilterlibError(f'no control "{name}"; {did_you_mean(name, self.controls)}')
        return self.controls[name]

    def design(self, values: Mapping[str, Any] | None = None) -> Any:
        """The design as the controls stand, or as they would with some of them moved."""
        if values:
            other = self.copy()
            for name, given in values.items():
                other.set(name, given)
            return other.design()
        wanted: dict[str, Any] = {
            name: choice.options[self.words[name]]
            for name, choice in self.choices.items()
            if self.words[name] != self._begun_at.get(name)
        }
        return self._change(
            self.start, wanted | {name: self.moved[name] for name in self.controls if name in self.moved}
        )

    def copy(self) -> State:
        """Another one that stands alike."""
        other = object.__new__(State)
        other.__dict__.update(self.__dict__)
        other.words, other.moved = dict(self.words), dict(self.moved)
        return other

    def nearest(self, name: str) -> str:
        """The option of a slider's choice whose values are nearest to the sliders, by ratio. Raises FilterlibError."""
        if name not in self.governor:
            raise FilterlibError(f"{self.named(name).label}: belongs to no part of a table")
        choice = self.governor[name]
        sliders = [control for slider, control in self.sliders() if self.governor.get(slider) is choice]
        pairs = [(control, self.value(control.name)) for control in sliders]

        def far(word: str) -> float:
            values = ((choice.of(control, word), value) for control, value in pairs)
            return sum(log(max(one, 1e-15) / max(two, 1e-15)) ** 2 for one, two in values)

        return min(choice.words, key=far)


@dataclass(frozen=True)
class Reading:
    """A number that decides: ``value`` in ``unit``, or words; ``verdict``: "met throughout", "depends on", "not met",
    "not known", or "" where nothing is asked; ``note``: a few words below it."""

    label: str
    value: Any
    unit: str = ""
    verdict: str = ""
    note: str = ""
