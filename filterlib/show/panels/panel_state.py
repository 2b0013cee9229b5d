"""The positions of a panel's controls, and the design that they make: no picture, no browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Any, Generic, TypeAlias, TypeVar

from filterlib.errors import FilterlibError, did_you_mean
from filterlib.show.panels.controls import Choice, Control
from filterlib.units import quantity

D = TypeVar("D")  # what a panel changes: a design, or any frozen dataclass
Values: TypeAlias = Mapping[str, Any]  # of controls, by name
LOOSE = -1  # position of a choice whose sliders were moved away from it


class State(Generic[D]):
    """The positions of controls.

    A slider that a choice governs follows it until it is moved; the choice is then loose, and chosen anew it takes its
    sliders back.
    """

    def __init__(
        self,
        start: D,
        controls: Sequence[Control | Choice],
        change: Callable[[D, Values], D],
        read: Callable[[D, str], object],
    ) -> None:
        self.start, self._change, self._read = start, change, read
        self.choices = {one.name: one for one in controls if isinstance(one, Choice)}
        self.governor: dict[str, Choice] = {}
        self.controls: dict[str, Control | Choice] = {}
        for one in controls:
            if one.name in self.controls:
                raise FilterlibError(f'two controls are called "{one.name}"')
            self.controls[one.name] = self._started(one) if isinstance(one, Control) else one
        self._own = {name: word for name, choice in self.choices.items() if (word := self._option(choice))}
        self.back()

    def _started(self, control: Control) -> Control:
        """A slider that knows its start; the governed one keeps none but its own."""
        governor = next((choice for choice in self.choices.values() if choice.governs(control)), None)
        if governor is not None:
            self.governor[control.name] = governor
            return control
        return control if control.start is not None else replace(control, start=self._read(self.start, control.name))

    def back(self) -> None:
        """Everything as it was at the start."""
        self.words = {name: self._first(choice) for name, choice in self.choices.items()}
        self.moved: dict[str, float] = {}
        for name, control in self.sliders():
            if control.start is not None:
                self.moved[name] = control.start

    def _first(self, choice: Choice) -> str:
        return choice.start or self._own.get(choice.name) or choice.words[0]

    def _option(self, choice: Choice) -> str | None:
        """The option that the start design has, if any."""
        try:
            own = self._read(self.start, choice.name)
        except (FilterlibError, AttributeError):
            return None
        return next((word for word, option in choice.options.items() if option == own), None)

    def sliders(self) -> Iterator[tuple[str, Control]]:
        """Name and slider, in order."""
        for name, control in self.controls.items():
            if isinstance(control, Control):
                yield name, control

    def value(self, name: str) -> float | str:
        """The value of a slider, or the words of a choice."""
        if name in self.words:
            return self.words[name]
        if name in self.moved:
            return self.moved[name]
        choice = self.governor[name]
        return choice.of(name, self.words[choice.name])

    def loose(self, name: str) -> bool:
        """True where sliders were moved away from a choice."""
        return any(self.governor[moved].name == name for moved in self.moved if moved in self.governor)

    def place(self, name: str) -> int:
        """The position of a control, as the front shows it."""
        control = self.controls[name]
        if isinstance(control, Choice):
            return LOOSE if self.loose(name) else control.words.index(self.words[name])
        return control.place(float(self.value(name)))

    def set(self, name: str, value: float | str) -> None:
        """Move a slider to a value (a number or text), or a choice to an option. Raises FilterlibError."""
        control = self.named(name)
        if isinstance(control, Choice):
            word = str(value)
            if word not in control.options:
                raise FilterlibError(f'{control.label}: no option "{word}"; {did_you_mean(word, control.options)}')
            self.words[name] = word
            for slider in [slider for slider, choice in self.governor.items() if choice is control]:
                self.moved.pop(slider, None)
            return
        self.moved[name] = quantity(value, control.unit, low=control.low, high=control.high, name=control.label)

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

    def design(self, values: Values | None = None) -> D:
        """The design at the present positions, or with some of them moved."""
        if values:
            other = self.copy()
            for name, value in values.items():
                other.set(name, value)
            return other.design()
        wanted = {
            name: choice.options[self.words[name]]
            for name, choice in self.choices.items()
            if self.words[name] != self._own.get(name)
        }
        return self._change(
            self.start, wanted | {name: self.moved[name] for name in self.controls if name in self.moved}
        )

    def only(self, values: Values) -> bool:
        """True where these controls are at these values (a slider at the same position), and all others at their start."""
        wanted = self.copy()
        wanted.back()
        for name, value in values.items():
            wanted.set(name, value)
        return all(wanted.place(name) == self.place(name) for name in self.controls)

    def copy(self) -> State[D]:
        """Another one with the same positions."""
        other = object.__new__(type(self))
        other.__dict__.update(self.__dict__)
        other.words, other.moved = dict(self.words), dict(self.moved)
        return other

    def nearest(self, name: str) -> str:
        """The option of a slider's choice whose values are nearest to the sliders, by ratio. Raises FilterlibError."""
        if name not in self.governor:
            raise FilterlibError(f"{self.named(name).label}: belongs to no part of a table")
        choice = self.governor[name]
        sliders = [control for slider, control in self.sliders() if self.governor.get(slider) is choice]
        pairs = [(control.name, float(self.value(control.name))) for control in sliders]

        def far(word: str) -> float:
            values = ((choice.of(slider, word), value) for slider, value in pairs)
            return sum(log(max(one, 1e-15) / max(two, 1e-15)) ** 2 for one, two in values)

        return min(choice.words, key=far)


@dataclass(frozen=True)
class Reading:
    """A number that decides: ``value`` in ``unit``, or words; ``verdict``: "met", "probably met", "undecided",
    "not met", or "" where there is no requirement; ``note``: a few words below it."""

    label: str
    value: float | str
    unit: str = ""
    verdict: str = ""
    note: str = ""
