"""The panel in the browser: native sliders with names, one message each way for each move."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, TypeAlias

import anywidget
import traitlets

from filterlib.show.panels.controls import Choice, Control
from filterlib.show.panels.guessing import Lesson
from filterlib.show.panels.session import Session
from filterlib.show.panels.small_circuit import circuit_svg
from filterlib.words.quantities import unbroken

HERE = Path(__file__).parent
REST = 0.3  # [s] without a move after which what takes longer is computed
AT_MOST = 1.0  # [s] that a panel waits for the browser before it is shown
SNAPPED = ("F", "H", "ohm")  # units whose values come in series of preferred numbers


Message: TypeAlias = dict[str, Any]
"""What goes to the browser or comes from it, by name."""


class Front(anywidget.AnyWidget):
    """What the browser shows of a `Panel`. It sends back which controls were moved, each with its position and its number; what was
    answered already is not moved again."""

    _esm = HERE / "front.js"
    _css = HERE / "front.css"
    title = traitlets.Unicode().tag(sync=True)
    controls = traitlets.List(traitlets.Dict()).tag(sync=True)
    view = traitlets.Dict().tag(sync=True)
    picture = traitlets.Unicode().tag(sync=True)
    circuit = traitlets.Unicode().tag(sync=True)
    guess = traitlets.Dict().tag(sync=True)
    dark = traitlets.Bool(False).tag(sync=True, echo_update=False)

    def __init__(self, panel: Session[Any, Any]) -> None:
        self._panel, self._answered = panel, 0
        display = panel.display
        super().__init__(
            title=panel.title, controls=[_described(one) for one in panel.state.controls.values()],
            circuit=circuit_svg(display.circuit, longest_texts(panel.state.controls.values())) if display.circuit else "", guess=_guess(display.lesson),
        )  # fmt: skip
        self.on_msg(self._pressed)
        self.observe(self._darkened, names="dark")
        self.show()

    def show(self) -> None:
        """Send what the panel shows now, as one message; later what takes longer."""
        panel = self._panel
        with self.hold_sync():
            self.picture = panel.address
            self.view = {
                "sentence": unbroken(panel.sentence), "table": panel.table, "error": panel.error, "old": panel.old,
                "note": panel.note, "touched": panel.touched, "alarm": panel.display.alarm(panel.result),
                "off": sorted(panel.display.off(panel.result)), "tries": panel.tries, "undo": len(panel.past), "snap": self._snap(), "kept": len(panel.kept),
                "saves": panel.saved is not None, "from": dict(panel.state.words), "size": list(panel.picture.size),
                "places": {name: panel.state.place(name) for name in panel.state.controls}, "exact": self._exact(), "answered": self._answered,
            }  # fmt: skip
        self._answer_beside_the_cells()
        if not panel.old:
            self._rest_later()

    def _answer_beside_the_cells(self) -> None:
        """ipykernel 7 brings what the browser sends to the thread that wrote to it last, which may be the one that is busy with cells;
        without that memory it goes where the browser says."""
        self.comm.__dict__.pop("_reply_subshell_id", None)

    def _exact(self) -> dict[str, str]:
        """Texts of sliders that are between two positions."""
        return {
            name: control.text(value)
            for name, control in self._panel.state.sliders()
            if (value := float(self._panel.state.value(name))) not in control.values
        }

    def _snap(self) -> Message:
        """What the last moved slider can be snapped to."""
        panel = self._panel
        control = panel.state.controls.get(panel.touched)
        if not isinstance(control, Control):
            return {"label": "", "to": []}
        to = ["E12", "E24"] if control.unit in SNAPPED else []
        return {"label": control.label, "to": [*to, *(["part"] if self._of_a_part(control) else [])]}

    def _of_a_part(self, control: Control) -> bool:
        governor = self._panel.state.governor.get(control.name)
        return governor is not None and governor.name.endswith("part")

    def _moved(self, moves: list[tuple[str, int, int]]) -> None:
        """Controls were moved in the browser."""
        new = {name: at for name, at, number in moves if number > self._answered}
        self._answered = max(self._answered, *(number for _, _, number in moves))
        if new:
            self._panel.step_to(new)

    def _darkened(self, change: Message) -> None:
        with self._panel.lock:
            self._panel.restyle(change["new"])

    def _pressed(self, widget: object, content: Message, buffers: object) -> None:
        """Controls were moved in the browser, a button was pressed, or a value was typed."""
        with self._panel.lock:
            self._act(content)

    def _act(self, content: Message) -> None:
        panel = self._panel
        if "moves" in content:
            return self._moved(content["moves"])
        if "typed" in content:
            return panel.guarded(lambda: panel.move(content["typed"], content["text"]))
        actions: dict[str, Callable[[], object]] = {
            "keep": panel.keep, "forget": panel.forget, "back": panel.back, "undo": panel.undo, "save-design": panel.save_design,
            "save-figure": panel.save_figure, **{f"snap-{to}": partial(panel.snap, to) for to in ("E12", "E24", "part")},
        }  # fmt: skip
        return panel.guarded(actions[content["press"]])

    # ---- what takes longer ----------------------------------------------------------------------------------------

    def _rest_later(self) -> None:
        if self._panel.calculation.refine is None:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no kernel: who wants it calls Panel.refine
            return
        loop.call_later(REST, self._rest, loop, self._panel.ticket)

    def _rest(self, loop: asyncio.AbstractEventLoop, ticket: int) -> None:
        """Start what takes longer, in a thread of its own that ends when a slider moves again."""
        panel = self._panel
        if ticket == panel.ticket and panel.refined != ticket:
            panel.refined = ticket
            threading.Thread(target=self._work, args=(loop, ticket, panel.design, panel.result), daemon=True).start()

    def _work(self, loop: asyncio.AbstractEventLoop, ticket: int, design: object, result: object) -> None:
        def tick(share: float) -> None:
            if ticket != self._panel.ticket:
                raise _MovedOn

        refine = self._panel.calculation.refine
        assert refine is not None
        try:
            action = partial(self._panel.rest, refine(design, result, tick))
        except _MovedOn:
            return
        except Exception as error:
            action = partial(_raised, error)
        loop.call_soon_threadsafe(self._refined, ticket, action)

    def _refined(self, ticket: int, action: Callable[[], None]) -> None:
        """Draw what took longer, or raise what went wrong there, unless a slider moved meanwhile."""
        with self._panel.lock:
            if ticket == self._panel.ticket:
                self._panel.guarded(action)


def wait_for_keys() -> None:
    """Wait for a moment until the browser has a way to this kernel beside the cells: the first keys would else wait for those that
    follow. JupyterLab asks for it when it hears of a panel, and ipykernel then starts a thread."""
    until = time.monotonic() + AT_MOST
    while time.monotonic() < until and not any(one.name.startswith("subshell") for one in threading.enumerate()):
        time.sleep(0.005)


def _raised(error: Exception) -> None:
    raise error


class _MovedOn(Exception):  # noqa: N818  not an error: a slider moved
    """The result is not wanted any more."""


def _guess(lesson: Lesson) -> Message:
    return asdict(lesson.guess) if lesson.guess else {}


def longest_texts(controls: Iterable[Control | Choice]) -> dict[str, int]:
    """How many letters the longest text of each control has, by its name."""
    return {one.name: max(map(len, _texts(one))) for one in controls}


def _texts(control: Control | Choice) -> list[str]:
    return list(control.words) if isinstance(control, Choice) else [control.text(value) for value in control.values]


def _described(control: Control | Choice) -> Message:
    """A control as the browser needs it."""
    about = {"name": control.name, "label": control.label, "group": control.group, "more": control.more}
    if isinstance(control, Choice):
        return {"kind": "choice", **about, "options": _texts(control)}  # fmt: skip
    return {"kind": "slider", **about, "texts": _texts(control)}  # fmt: skip
