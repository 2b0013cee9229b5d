"""A panel: controls, one pure function from a frozen design to a frozen result, and the picture of that result."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from filterlib.errors import FilterlibError
from filterlib.show.panels.checking import check
from filterlib.show.panels.controls import Choice, Control
from filterlib.show.panels.picture import Picture
from filterlib.show.panels.state import Reading, State, change
from filterlib.show.panels.theme import Theme
from filterlib.show.style import slug
from filterlib.system.design import Design
from filterlib.words.labels import SYMBOLS
from filterlib.words.quantities import number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from filterlib.show.panels.front import Front

Tick = Callable[[float], None]


@dataclass(frozen=True)
class Calculation:
    """What a panel computes.

    ``start``: a frozen design, or any frozen thing with ``replace`` or the fields of a dataclass; ``compute``: pure, from
    it to a frozen result, quick; ``refine``: from design, result and a function to be told the share that is done, to the
    result with what takes longer (it runs when the sliders rest); ``change``: puts the controls' values into the design.
    """

    start: Any
    compute: Callable[[Any], Any]
    refine: Callable[[Any, Any, Tick], Any] | None = None
    change: Callable[[Any, Mapping[str, Any]], Any] = change


@dataclass(frozen=True)
class Display:
    """What a panel shows of a result: its picture, the numbers that decide, and a sentence for who cannot see it."""

    picture: Picture
    readings: Callable[[Any], Sequence[Reading]]
    sentence: Callable[[Any], str]


class Panel:
    """Sliders, and the answer at once.

    Parameters
    ----------
    title : what stands above it
    calculation, controls, display : what is computed, what can be moved, what is shown

    Raises
    ------
    FilterlibError
        For a control that cannot be; and whatever computing and drawing the start raises.

    Attributes
    ----------
    design, result : as the controls stand now
    error : what is wrong, in words; the picture is then `old`, the last good one
    """

    def __init__(
        self, title: str, calculation: Calculation, controls: Sequence[Control | Choice], display: Display
    ) -> None:
        self.title, self.calculation, self.display = title, calculation, display
        self.state = State(calculation.start, controls, calculation.change)
        self.error, self.old, self.note = "", False, ""
        self.png = b""
        self.result: Any = None
        self.touched = ""
        self.ticket, self.refined = 0, 0
        self._kept: list[tuple[str, ...]] = []
        self._front: Front | None = None
        self.update()

    @property
    def picture(self) -> Picture:
        """The kept picture."""
        return self.display.picture

    @property
    def values(self) -> dict[str, Any]:
        """Where every control stands."""
        return {name: self.state.value(name) for name in self.state.controls}

    @property
    def saved(self) -> Design | None:
        """The design that is saved: that of the controls, or the one within what they change; None where there is none."""
        held = self.design if isinstance(self.design, Design) else getattr(self.design, "design", None)
        return held if isinstance(held, Design) else None

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The numbers that decide, now."""
        return tuple(self.display.readings(self.result))

    @property
    def sentence(self) -> str:
        """What the picture shows, in words."""
        return self.display.sentence(self.result)

    @property
    def table(self) -> list[dict[str, Any]]:
        """The readings, ready to be shown, with those that were kept."""
        return [
            {
                "label": one.label, "text": _text(one), "verdict": one.verdict, "symbol": SYMBOLS.get(one.verdict, ""),
                "note": one.note, "kept": [row[at] for row in self._kept if at < len(row)],
            }
            for at, one in enumerate(self.readings)
        ]  # fmt: skip

    # ---- moving ----------------------------------------------------------------------------------------------------

    def at(self, values: Mapping[str, Any]) -> Any:
        """The result with some controls moved, by name, the panel staying as it is."""
        return self.calculation.compute(self.state.design(values))

    def move(self, name: str, given: Any) -> Any:
        """Move a control to a value or an option; returns the new result."""
        with self._moving(name):
            self.state.set(name, given)
        return self.result

    def step_to(self, places: Mapping[str, int]) -> None:
        """Move controls to positions."""
        with self._moving(*places):
            for name, place in places.items():
                self.state.step_to(name, place)

    @contextmanager
    def _moving(self, *names: str, note: str = "") -> Iterator[None]:
        yield
        self.touched, self.note = next(iter(names), self.touched), note
        self.update()

    def update(self) -> None:
        """Compute, draw and show. What goes wrong is shown and raised again; the last good picture stays, marked."""
        self.ticket += 1
        try:
            self.design = self.state.design()
            result = self.calculation.compute(self.design)
            self.draw(result)
        except Exception as error:
            self.error, self.old = said(error), True
            raise
        finally:
            if self._front is not None:
                self._front.show()

    def draw(self, result: Any) -> None:
        """Draw a result, and take it as the panel's."""
        self.picture.put(result)
        self.picture.draw()
        png = self.picture.png()
        self.result, self.png, self.error, self.old = result, png, "", False

    def refine(self) -> None:
        """Compute and draw what takes longer, here and now."""
        if self.calculation.refine is not None:
            self.draw(self.calculation.refine(self.design, self.result, lambda share: None))
            if self._front is not None:
                self._front.show()

    def take(self, found: Any, error: Exception | None) -> None:
        """Draw what took longer, or raise what went wrong there."""
        if error is not None:
            raise error
        self.draw(found)

    def guarded(self, action: Callable[[], Any]) -> None:
        """Do what a button asks for; what goes wrong is shown, and raised again."""
        try:
            action()
        except Exception as error:
            self.error = said(error)
            raise
        finally:
            if self._front is not None:
                self._front.show()

    # ---- buttons ---------------------------------------------------------------------------------------------------

    def keep(self) -> None:
        """Keep the curves and numbers as a reference while moving on."""
        self._kept = [*self._kept, tuple(_text(one) for one in self.readings)][-3:]
        self.picture.keep()
        self._redraw(
            f"kept {len(self._kept)} is what was shown"
            if len(self._kept) < 3
            else "three are kept; the next takes the place of the oldest"
        )

    def forget(self) -> None:
        """Drop what was kept."""
        self._kept = []
        self.picture.forget()
        self._redraw("nothing is kept")

    def _redraw(self, note: str) -> None:
        self.picture.draw()
        self.png, self.note = self.picture.png(), note
        if self._front is not None:
            self._front.show()

    def back(self) -> None:
        """Every control to its start; what was kept stays."""
        self.picture.limits = {}
        with self._moving(self.touched, note="everything stands as at the start"):
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
        self._redraw(f"saved as {path.name}.svg and .png")
        return path.with_suffix(".svg")

    def save_design(self, folder: str | Path = ".") -> Path:
        """Write the design as a design file; nothing is replaced. Raises FilterlibError where it is none."""
        from filterlib.system.writing import save_design

        design = self.saved
        if design is None:
            raise FilterlibError(f"{self.title}: this panel has no design that could be reviewed")
        path = _free(Path(folder), slug(design.name), (".toml",)).with_suffix(".toml")
        save_design(design, path)
        self._redraw(f"saved as {path.name}; to review it: filterlib review {path.name} --out review")
        return path

    def restyle(self, dark: bool) -> None:
        """Draw on light or on dark ground."""
        if self.picture.theme.dark != dark:
            self.picture.restyle(Theme(dark))
            self._redraw(self.note)

    # ---- showing ---------------------------------------------------------------------------------------------------

    def check(self) -> None:
        """SourceSpectra every control to both ends and every option, and put all back.

        Raises PanelError with everything that is wrong: an exception, a control that changes no result or no picture, a
        curve that is not finite or lies wholly outside its axes.
        """
        check(self)

    def front(self) -> Front:
        """The widget that shows this panel."""
        if self._front is None:
            from filterlib.show.panels.front import Front

            self._front = Front(self)
        return self._front

    def _repr_mimebundle_(self, **options: Any) -> Any:
        """The widget, and a still picture for where there is none."""
        from base64 import b64encode

        shown = self.front()._repr_mimebundle_(**options)
        bundle, metadata = shown if isinstance(shown, tuple) else (shown, {})
        still = {"image/png": b64encode(self.png).decode(), "text/plain": self.sentence}
        return {**(bundle or {}), **still}, metadata


def said(error: Exception) -> str:
    """An error in the library's words; of another kind with its name before it."""
    return str(error) if isinstance(error, FilterlibError) else f"{type(error).__name__}: {error}"


def _text(reading: Reading) -> str:
    return reading.value if isinstance(reading.value, str) else number(reading.value, reading.unit)


def _free(folder: Path, stem: str, endings: Sequence[str]) -> Path:
    """A path without ending under which nothing stands yet."""
    count = 1
    while any((folder / f"{stem}-{count}{ending}").exists() for ending in endings):
        count += 1
    return folder / f"{stem}-{count}"
