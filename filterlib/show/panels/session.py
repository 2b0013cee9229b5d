"""What a panel does, without a browser: controls move, a pure function computes, a kept picture is drawn anew."""

from __future__ import annotations

import shlex
import threading
import time
from base64 import b64encode
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Generic, TypeAlias, TypedDict

from filterlib.disk import write_text
from filterlib.errors import FilterlibError
from filterlib.show.panels.controls import Choice, Control
from filterlib.show.panels.guessing import Lesson
from filterlib.show.panels.marks import R
from filterlib.show.panels.panel_state import D, Reading, State, Values
from filterlib.show.panels.picture import Picture
from filterlib.show.panels.small_circuit import Drawn
from filterlib.show.panels.theme import Theme
from filterlib.show.style import slug
from filterlib.system.design import Design
from filterlib.system.file.writing import design_toml
from filterlib.system.ranges import changes
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import number

Tick: TypeAlias = Callable[[float], None]
SAME_MOVE = 1.0  # [s] between two moves of one control that are undone as one
UNDONE = 100  # moves that can be undone


def change(thing: D, values: Values) -> D:
    """A frozen thing with other values: a `Design` by the keys of its file, a dataclass by the names of its fields."""
    if isinstance(thing, Design):
        return changes.changed(thing, values)  # type: ignore[return-value]
    return replace(thing, **values) if values else thing  # type: ignore[type-var]


def read(thing: object, name: str) -> object:
    """What `change` would replace."""
    return changes.value(thing, name) if isinstance(thing, Design) else getattr(thing, name)


class Row(TypedDict):
    """A reading as it is shown, with those that were ``kept``."""

    label: str
    text: str
    verdict: str
    symbol: str
    note: str
    kept: list[str]


class Tried(TypedDict):
    """Something to try, as it is shown."""

    text: str
    done: bool
    why: str


@dataclass(frozen=True)
class Calculation(Generic[D, R]):
    """What a panel computes.

    ``start``: a frozen design, or any frozen dataclass; ``compute``: pure, from
    it to a frozen result, quick; ``refine``: from design, result and a function that takes the share done so far, to the
    result with what takes longer (it runs when the sliders rest); ``change``: puts the controls' values into the design;
    ``text``: what a design is saved as: where the start is of a design file, its text but for what moved.
    """

    start: D
    compute: Callable[[D], R]
    refine: Callable[[D, R, Tick], R] | None = None
    change: Callable[[D, Values], D] = change
    text: Callable[[Design], str] = design_toml


@dataclass(frozen=True)
class Display(Generic[R]):
    """What a panel shows of a result: its picture, the numbers that decide, and a sentence for who cannot see it.

    ``alarm``: what has to be said loudly, such as that nothing is stable; ``circuit``: the parts beside the sliders; ``lesson``:
    what the reader guesses and tries; ``off``: controls without effect as it is.
    """

    picture: Picture[R]
    readings: Callable[[R], Sequence[Reading]]
    sentence: Callable[[R], str]
    alarm: Callable[[R], str] = lambda result: ""
    circuit: Sequence[Drawn] = ()
    lesson: Lesson = field(default_factory=Lesson)
    off: Callable[[R], Collection[str]] = lambda result: ()


class Session(Generic[D, R]):
    """A panel without its browser: controls, result and picture; whoever shows it puts its own function in ``shown``."""

    design: D
    result: R

    def __init__(
        self, title: str, calculation: Calculation[D, R], controls: Sequence[Control | Choice], display: Display[R]
    ) -> None:
        self.title, self.calculation, self.display = title, calculation, display
        self.state = State(
            calculation.start, [display.lesson.stopping(one) for one in controls], calculation.change, read
        )
        self.error, self.old, self.note = "", False, ""
        self.png = b""
        self.touched = ""
        self.ticket, self.refined = 0, 0
        self.kept: list[tuple[str, ...]] = []
        self.rested = False
        self.past: list[State[D]] = []
        self.moved_at = -SAME_MOVE
        self.done: set[int] = set()
        self.lock = threading.RLock()  # the browser's messages may come in a thread of their own, beside a cell's
        self.shown: Callable[[], None] | None = None
        self.update()

    @property
    def picture(self) -> Picture[R]:
        """The kept picture."""
        return self.display.picture

    @property
    def address(self) -> str:
        """The picture as an address that holds it: a browser shows that at once, and fetches a file of its memory through another process."""
        return f"data:image/png;base64,{b64encode(self.png).decode()}"

    @property
    def values(self) -> dict[str, float | str]:
        """The value of every slider and the words of every choice."""
        return {name: self.state.value(name) for name in self.state.controls}

    @property
    def saved(self) -> Design | None:
        """The design that is saved: that of the controls, or the one within what they change; None where there is none."""
        design = self.design if isinstance(self.design, Design) else getattr(self.design, "design", None)
        return design if isinstance(design, Design) else None

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The numbers that decide, now."""
        return tuple(self.display.readings(self.result))

    @property
    def quiet(self) -> bool:
        """True where nothing has moved for a while, and what takes longer is drawn."""
        return (self.rested or self.calculation.refine is None) and time.monotonic() - self.moved_at > SAME_MOVE

    @property
    def tries(self) -> list[Tried]:
        """What there is to try; why, where the controls have been there."""
        return [
            {"text": one.text, "done": number in self.done, "why": one.why if number in self.done else ""}
            for number, one in enumerate(self.display.lesson.tries)
        ]

    @property
    def sentence(self) -> str:
        """What the picture shows, in words."""
        return self.display.sentence(self.result)

    @property
    def table(self) -> list[Row]:
        """The readings, ready to be shown, with those that were kept."""
        return [
            {
                "label": one.label, "text": _text(one), "verdict": one.verdict, "symbol": SYMBOLS.get(one.verdict, ""),
                "note": one.note, "kept": [row[at] for row in self.kept if at < len(row)],
            }
            for at, one in enumerate(self.readings)
        ]  # fmt: skip

    def twin(self) -> Session[D, R]:
        """The same at its start with a picture of its own, for who tries what this one must not show."""
        display = replace(self.display, picture=self.picture.twin())
        return Session(self.title, self.calculation, list(self.state.controls.values()), display)

    # ---- moving ----------------------------------------------------------------------------------------------------

    def at(self, values: Values) -> R:
        """The result with some controls moved, by name, the panel staying as it is."""
        return self.calculation.compute(self.state.design(values))

    def move(self, name: str, value: float | str) -> R:
        """Move a control to a value or an option; returns the new result."""
        with self._moving(name):
            self.state.set(name, value)
        return self.result

    def step_to(self, places: Mapping[str, int]) -> None:
        """Move controls to positions."""
        with self._moving(*places):
            for name, place in places.items():
                self.state.step_to(name, place)

    @contextmanager
    def _moving(self, *names: str, note: str = "") -> Iterator[None]:
        touched, now, was = next(iter(names), self.touched), time.monotonic(), self.state.copy()
        yield
        if touched != self.touched or now - self.moved_at > SAME_MOVE or note:
            self.past = [*self.past, was][-UNDONE:]
        self.touched, self.note, self.moved_at = touched, note, now
        self.update()

    def update(self) -> None:
        """Compute, draw and show. What goes wrong is shown and raised again; the last good picture stays, marked."""
        self.ticket += 1
        self.rested = False
        try:
            self.design = self.state.design()
            result = self.calculation.compute(self.design)
            self.draw(result)
            self.done = self.done | {
                number for number, one in enumerate(self.display.lesson.tries) if self.state.only(one.at)
            }
        except Exception as error:
            self.error, self.old = said(error), True
            raise
        finally:
            self._show()

    def _show(self) -> None:
        if self.shown is not None:
            self.shown()

    def draw(self, result: R) -> None:
        """Draw a result, and take it as the panel's."""
        self.picture.put(result)
        self.picture.draw()
        png = self.picture.png()
        self.result, self.png, self.error, self.old = result, png, "", False

    def refine(self) -> None:
        """Compute and draw what takes longer, here and now."""
        if self.calculation.refine is not None:
            self.rest(self.calculation.refine(self.design, self.result, lambda share: None))
            self._show()

    def rest(self, result: R) -> None:
        """Draw what took longer."""
        self.draw(result)
        self.rested = True

    def guarded(self, action: Callable[[], object]) -> None:
        """Do what a button asks for; what goes wrong is shown, and raised again."""
        try:
            action()
        except Exception as error:
            self.error = said(error)
            raise
        finally:
            self._show()

    # ---- buttons ---------------------------------------------------------------------------------------------------

    def keep(self) -> None:
        """Keep the curves and numbers as a reference while moving on, with what takes longer in them."""
        if not self.rested:
            self.refine()
        self.kept = [*self.kept, tuple(_text(one) for one in self.readings)][-3:]
        self.picture.keep()
        self._redraw(
            f"kept {len(self.kept)} is what was shown"
            if len(self.kept) < 3
            else "three are kept; the next takes the place of the oldest"
        )

    def forget(self) -> None:
        """Drop what was kept."""
        self.kept = []
        self.picture.forget()
        self._redraw("nothing is kept")

    def _redraw(self, note: str) -> None:
        self.picture.draw()
        self.png, self.note = self.picture.png(), note
        self._show()

    def undo(self) -> None:
        """Take the last move back."""
        if not self.past:
            return self._redraw("nothing to undo")
        self.state = self.past.pop()
        self.note, self.moved_at = "the last move is undone", -SAME_MOVE
        return self.update()

    def back(self) -> None:
        """Every control to its start; what was kept stays."""
        self.picture.limits = {}
        with self._moving(self.touched, note="everything is as at the start"):
            self.state.back()

    def snap(self, series: str, name: str = "") -> None:
        """Move a slider (the last that was moved) to the nearest value of "E12" or "E24", or to the nearest "part"."""
        wanted = name or self.touched
        control = self.state.named(wanted)
        with self._moving(wanted, note=f"{control.label}: the nearest {series}"):
            if series == "part":
                word = self.state.nearest(wanted)
                self.state.set(self.state.governor[wanted].name, word)
            elif isinstance(control, Control):
                self.state.set(wanted, control.snapped(float(self.state.value(wanted)), series))

    def save_figure(self, folder: str | Path = ".") -> Path:
        """Write the picture as SVG and as PNG; nothing is replaced. Returns the SVG's path."""
        path = _free(Path(folder), slug(self.title), (".svg", ".png"))
        path.with_suffix(".svg").write_text(self.picture.svg() + "\n", encoding="utf-8")
        path.with_suffix(".png").write_bytes(self.picture.print_png())
        self._redraw(f"saved as {path}.svg and .png")
        return path.with_suffix(".svg")

    def save_design(self, folder: str | Path = ".") -> Path:
        """Write the design as `write_design` does, and say how to review it."""
        path = self.write_design(folder)
        self._redraw(f"saved as {path}; to review it: filterlib review {shlex.quote(str(path))} --out review")
        return path

    def write_design(self, folder: str | Path) -> Path:
        """Write the design as a design file; nothing is replaced. Raises FilterlibError where it is none."""
        design = self.saved
        if design is None:
            raise FilterlibError(f"{self.title}: this panel has no design that could be reviewed")
        path = _free(Path(folder), slug(design.name), (".toml",)).with_suffix(".toml")
        write_text(path, self.calculation.text(design))
        return path

    def restyle(self, dark: bool) -> None:
        """Draw on light or on dark ground."""
        if self.picture.theme.dark != dark:
            self.picture.restyle(Theme(dark))
            self._redraw(self.note)


def said(error: Exception) -> str:
    """An error in the library's words; of another kind with its name before it."""
    return str(error) if isinstance(error, FilterlibError) else f"{type(error).__name__}: {error}"


def _text(reading: Reading) -> str:
    return reading.value if isinstance(reading.value, str) else number(reading.value, reading.unit)


def _free(folder: Path, stem: str, endings: Sequence[str]) -> Path:
    """A path without ending that no file has yet."""
    count = 1
    while any((folder / f"{stem}-{count}{ending}").exists() for ending in endings):
        count += 1
    return folder / f"{stem}-{count}"
