"""Drawings for the web pages, as SVG text: a lawn's height, three lessons, a map of weather cells.

Every function is pure: the same facts and words give the same text. A drawing is 320 units wide and
its text 12 units high, so that letters keep 12 px in the column of the narrowest telephone. Colours
come from ``static/drawing.css`` by class, never from a style attribute, so a strict content policy
holds; without that file a drawing is plain line art in the colour of the text around it.
"""

from mowalert.web.drawing.cells import STEP_LOOKS, DrawnCell, draw_cells
from mowalert.web.drawing.lawn import draw_lawn
from mowalert.web.drawing.lawn_view import AHEAD_DAYS, PAST_DAYS, DrawnCut, DrawnDay, LawnView
from mowalert.web.drawing.lessons import draw_clippings, draw_roots, draw_third
from mowalert.web.drawing.words import ENGLISH, SPANISH, DrawingWords

__all__ = [
    "AHEAD_DAYS",
    "ENGLISH",
    "PAST_DAYS",
    "SPANISH",
    "STEP_LOOKS",
    "DrawingWords",
    "DrawnCell",
    "DrawnCut",
    "DrawnDay",
    "LawnView",
    "draw_cells",
    "draw_clippings",
    "draw_lawn",
    "draw_roots",
    "draw_third",
]
