"""The card that a photograph is measured by: crosses at exact places on a sheet of paper, and a line to check the
printer by."""

from __future__ import annotations

import io

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from sim.fields.untrusted_text import make_input_error
from sim.photo.points import CARD
from sim.report.paper.blocks import Size
from sim.report.paper.columns import BODY, BOLD, register_fonts
from sim.report.paper.pdf import INK, SIZES
from sim.unit.model import Vec
from sim.units import format_mm as told

ARM, RING = 6 * mm, 2.5 * mm
EDGE = 14 * mm
"""Between the crosses and the edge of the paper: an arm, and what a printer leaves free."""
CHECK = 100 * mm
SMALLEST = 150 * mm, 100 * mm
"""The check line and the words stand between the crosses."""
WORDS = (
    "Print at actual size (100 %), on stiff paper, or glue it flat to a board.",
    "Measure the line below and the crosses with a steel rule. If they differ, tell the page what you measured.",
    "Stand it upright in the plane of the action’s side, beside the parts, its long side level.",
    "Lay a steel rule at the depth of the parts, elsewhere in the picture, as long as will go in.",
    "Stand far back, zoom in, and hold the camera square to the card and level with its middle.",
)


def make_card(size: Vec = (0.240, 0.160), paper: Size = "A4") -> bytes:
    """A PDF page with crosses ``size`` (m) apart.  Raises InputError for a card that the paper does not hold."""
    register_fonts()
    short, long = sorted(SIZES[paper])
    width, height = (1e3 * v * mm for v in size)
    room = long - 2 * EDGE, short - 2 * EDGE
    for name, value, least, most in zip(("width", "height"), (width, height), SMALLEST, room, strict=True):
        if not least - 1e-6 <= value <= most + 1e-6:
            allowed = f"{least / mm:.0f} to {most / mm:.0f} mm on {paper}"
            remedy = "ask for another size, or draw such a card yourself"
            raise make_input_error("card", f"card.{name}", told(1e-3 * value / mm), allowed, remedy)
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(long, short), invariant=1, lang="en-GB")
    canvas.setTitle("Scale card for a photograph")
    canvas.setCreator("action-unit-sim")
    canvas.setStrokeColor(INK)
    canvas.setFillColor(INK)
    for across, up in CARD.values():
        _cross(canvas, long / 2 + across * width, short / 2 + up * height)
    _draw_words(canvas, long / 2, short / 2 + height / 2 - 24 * mm, size)
    _check(canvas, long / 2, short / 2 - height / 2 + 22 * mm)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _cross(canvas: Canvas, x: float, y: float) -> None:
    canvas.setLineWidth(0.25 * mm)
    canvas.line(x - ARM, y, x + ARM, y)
    canvas.line(x, y - ARM, x, y + ARM)
    canvas.circle(x, y, RING)


def _draw_words(canvas: Canvas, x: float, y: float, size: Vec) -> None:
    canvas.setFont(BOLD, 12)
    canvas.drawCentredString(x, y, f"Scale card: crosses {told(size[0], 1)} × {told(size[1], 1)} apart")
    canvas.setFont(BODY, 6.5 if size[0] < 0.2 else 9)
    for i, line in enumerate(WORDS):
        canvas.drawCentredString(x, y - (i + 1.6) * 5.5 * mm, line)


def _check(canvas: Canvas, x: float, y: float) -> None:
    canvas.setLineWidth(0.25 * mm)
    canvas.line(x - CHECK / 2, y, x + CHECK / 2, y)
    for i in range(11):
        at, high = x - CHECK / 2 + i * CHECK / 10, (3 if i in (0, 5, 10) else 1.5) * mm
        canvas.line(at, y, at, y + high)
    canvas.setFont(BODY, 8)
    canvas.drawCentredString(x, y - 5 * mm, "Measure this line with a rule: 100 mm")
