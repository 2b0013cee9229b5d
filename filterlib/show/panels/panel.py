"""A panel: controls, one pure function from a frozen design to a frozen result, and the picture of that result in a browser."""

from __future__ import annotations

import asyncio
from base64 import b64encode
from functools import cached_property
from typing import Any

from filterlib.show.notebook_pages.notebooks import METADATA
from filterlib.show.panels.checking import check, check_meanwhile, opened_by_a_person
from filterlib.show.panels.front import Front, Message, wait_for_keys
from filterlib.show.panels.marks import R
from filterlib.show.panels.panel_state import D
from filterlib.show.panels.session import Session


class Panel(Session[D, R]):
    """Sliders, and the answer at once.

    Parameters
    ----------
    title : its heading, and the stem of the files that it saves
    calculation, controls, display : what is computed, what can be moved, what is shown

    Raises
    ------
    FilterlibError
        For a control that cannot be; and whatever computing and drawing the start raises.

    Attributes
    ----------
    design, result : at the present positions of the controls
    error : what is wrong, in words; the picture is then `old`, the last good one
    """

    def check(self) -> None:
        """Try every control at both ends and in every option, on a twin: the panel stays as it is.

        Raises PanelError with everything that is wrong: an exception, a control that changes no result or no picture, a
        curve that is not finite or lies wholly outside its axes. Where a person has opened the notebook, it does so step by
        step while the panel is at rest, and writes below the sliders what is wrong.
        """
        if opened_by_a_person():
            self._checking = asyncio.get_running_loop().create_task(check_meanwhile(self))
        else:
            check(self)

    def front(self) -> Front:
        """The widget that shows this panel."""
        return self._front

    @cached_property
    def _front(self) -> Front:
        front = Front(self)
        self.shown = front.show
        return front

    def _repr_mimebundle_(self, **options: Any) -> tuple[Message, Message]:
        """The widget, and a still picture for where there is none."""
        shown: Any = self.front()._repr_mimebundle_(**options)
        bundle, metadata = shown if isinstance(shown, tuple) else (shown, {})
        still = {"image/png": b64encode(self.png).decode(), "text/plain": self.sentence}
        if opened_by_a_person():
            wait_for_keys()
        lesson = self.display.lesson
        if lesson.answers:
            still["text/markdown"] = lesson.answers
        about = {"question": lesson.question, "covers": lesson.covers}
        return {**(bundle or {}), **still}, {**(metadata or {}), METADATA: about}
