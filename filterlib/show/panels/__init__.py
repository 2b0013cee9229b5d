"""Panels of sliders: what notebooks show. Only this package sees ipywidgets, through anywidget.

A panel is data: controls, a calculation, a display. See DEVELOPERS.md, "How to add a notebook".
"""

from filterlib.show.panels.checking import PanelError
from filterlib.show.panels.controls import Choice, Control, in_front, parts
from filterlib.show.panels.drawing_marks import Lines, Paths, Words
from filterlib.show.panels.guessing import Guess, Lesson, Try
from filterlib.show.panels.marks import Axis, Curve, Level, Plot, Range, envelope
from filterlib.show.panels.panel import Panel
from filterlib.show.panels.panel_state import Reading, Values
from filterlib.show.panels.picture import HIGH, LOW, Picture
from filterlib.show.panels.session import Calculation, Display
from filterlib.show.panels.small_circuit import Drawn

__all__ = [
    "HIGH", "LOW", "Axis", "Calculation", "Choice", "Control", "Curve", "Display", "Drawn", "Guess", "Lesson", "Level", "Lines", "Panel", "PanelError", "Paths",
    "Picture", "Plot", "Range", "Reading", "Try", "Values", "Words", "envelope", "in_front", "parts",
]  # fmt: skip
