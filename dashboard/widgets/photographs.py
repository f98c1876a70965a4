"""The photograph that a session reads: the picture, what was told of it, what was clicked.  No streamlit here."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import sim
from dashboard.session.work import FIRST
from sim.errors import Fault, InputError, QuantityError
from sim.photo import marks as photograph_marks
from sim.photo.photograph import Marks, Photographed, Picture
from sim.photo.points import PIN, asked
from sim.report.photograph import demo as invented
from sim.report.photograph import picture as pictures
from sim.report.record.contents import File
from sim.unit.model import ActionUnit, Vec
from sim.units import LENGTH, parse, show

USUAL = Marks(Picture("", 1, 1, 1, ""))
DEMO_DISTANCE = invented.Camera().distance
MARKED = "marked_photograph"
"""Where a session keeps what gives the files of its photograph, for the record."""
SEPARATORS = re.compile(r"\s*[;,]\s+|\s*;\s*")


@dataclass(frozen=True)
class Held:
    """A picture on the page, its file and what the browser shows of it, and the clicks as they were last put there."""

    picture: Picture
    data: bytes
    shown: bytes
    clicks: Mapping[str, Vec] = field(default_factory=dict)
    version: int = 0
    """Another number has the browser take up ``clicks``."""
    demo: bool = False

    def with_clicks(self, clicks: Mapping[str, Vec]) -> Held:
        """The same picture with clicks for the browser to take up."""
        return replace(self, clicks=dict(clicks), version=self.version + 1)


def record_files(held: Held, marks: Marks, done: Photographed | None) -> dict[str, File]:
    """What stays with a record: the picture, the same with its marks drawn in, and the marks that give all of it."""
    ending = "png" if held.data.startswith(b"\x89PNG") else "jpg"
    return {
        f"photograph.{ending}": File("the photograph as it was taken", held.data),
        "photograph-marked.png": File("the photograph with its marks", marked(held, marks, done)),
        "photograph-marks.toml": File("the marks on the photograph", photograph_marks.text_of(marks).encode()),
    }


def marked(held: Held, marks: Marks, done: Photographed | None) -> bytes:
    """The picture with its marks drawn in (PNG)."""
    return pictures.marked(pictures.opened(held.picture.name, held.data), marks, done)


def held(name: str, data: bytes, version: int, demo: bool = False) -> Held:
    """A picture from a file.  Raises InputError."""
    photo = pictures.opened(name, data)
    return Held(photo.picture, data, pictures.jpeg(photo), version=version, demo=demo)


@cache
def demo() -> tuple[bytes, dict[str, Vec]]:
    """The invented picture, of the first shipped unit, and a careful hand's clicks on it."""
    return invented.demo(first_unit())


def first_unit() -> ActionUnit:
    """The unit that the invented picture shows."""
    return sim.load(FIRST)


def typed(marks: Marks) -> dict[str, str]:
    """What the fields of the page say where these marks were made: lengths as they would be typed."""
    return {
        "width": _mm(marks.card[0]), "height": _mm(marks.card[1]), "rule": ", ".join(map(_mm, marks.rule)),
        "x": _mm(marks.origin_at[0]), "y": _mm(marks.origin_at[1]), "click": f"{marks.click:.12g}",
        "depth": _mm(marks.depth), "distance": _mm(marks.distance), "most": _mm(marks.most),
    }  # fmt: skip


def _mm(si: float) -> str:
    """As it would be typed, to the last figure."""
    return show(si, "mm", LENGTH)


def told(picture: Picture, fields: Mapping[str, str], origin: str, level_line: bool) -> Marks:
    """Marks without clicks from what the fields say.  Raises InputError that names each field not understood."""
    faults: list[Fault] = []

    def of(name: str, read: Callable[[str], float]) -> float:
        try:
            return read(fields[name])
        except (QuantityError, ValueError) as error:
            remedy = error.remedy if isinstance(error, QuantityError) else "write a number such as 0.7"
            faults.append(Fault(picture.name, None, name, fields[name][:40], "a length with its unit", remedy))
            return 0.0

    def length(text: str) -> float:
        return parse(text, LENGTH)

    rule = []
    for text in SEPARATORS.split(fields["rule"].strip()):
        try:
            rule.append(length(text))
        except QuantityError as error:
            faults.append(Fault(picture.name, None, "rule", text[:40], "lengths with their units", error.remedy))
    made = Marks(
        picture=picture, card=(of("width", length), of("height", length)), rule=tuple(rule), origin=origin,
        origin_at=(0.0, 0.0) if origin == PIN else (of("x", length), of("y", length)), level_line=level_line,
        click=of("click", lambda text: float(text.replace(",", "."))), depth=of("depth", length),
        distance=of("distance", length), most=of("most", length),
    )  # fmt: skip
    if faults:
        raise InputError(faults)
    return made


def place_of(unit: ActionUnit, click: str) -> Vec:
    """Where a unit has the place that a frame is hung on."""
    if click == PIN:
        return 0.0, 0.0
    part, name = click.split(".")
    x, y = getattr(getattr(unit, part), name)
    return float(x), float(y)


def title_of(click: str) -> str:
    """What a place to click is called."""
    return next(a.told for a in asked(2, True) if a.name == click)
