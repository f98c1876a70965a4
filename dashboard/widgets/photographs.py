"""The photograph that a session reads: the picture, what was told of it, what was clicked.  No streamlit here."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import sim
from dashboard.session.work import FIRST_SCENARIO
from sim.errors import Fault, InputError, QuantityError
from sim.photo import marks as photograph_marks
from sim.photo.photograph import Marks, PhotographResult, Picture
from sim.photo.points import PIN, list_clicks
from sim.report.photograph import demo as invented
from sim.report.photograph import picture as pictures
from sim.report.record.contents import File
from sim.unit.model import ActionUnit, Vec
from sim.units import LENGTH, format_quantity, parse_quantity

USUAL = Marks(Picture("", 1, 1, 1, ""))
DEMO_DISTANCE = invented.Camera().distance
MARKED = "marked_photograph"
"""Where a session keeps what gives the files of its photograph, for the record."""
SEPARATORS = re.compile(r"\s*[;,]\s+|\s*;\s*")


@dataclass(frozen=True)
class OpenPhotograph:
    """A picture on the page, its file and what the browser shows of it, and the clicks as they were last put there."""

    picture: Picture
    data: bytes
    shown: bytes
    clicks: Mapping[str, Vec] = field(default_factory=dict)
    version: int = 0
    """Another number has the browser take up ``clicks``."""
    demo: bool = False

    def with_clicks(self, clicks: Mapping[str, Vec]) -> OpenPhotograph:
        """The same picture with clicks for the browser to take up."""
        return replace(self, clicks=dict(clicks), version=self.version + 1)


def build_record_files(held: OpenPhotograph, marks: Marks, done: PhotographResult | None) -> dict[str, File]:
    """What stays with a record: the picture, the same with its marks drawn in, and the marks that give all of it."""
    ending = "png" if held.data.startswith(b"\x89PNG") else "jpg"
    return {
        f"photograph.{ending}": File("the photograph as it was taken", held.data),
        "photograph-marked.png": File("the photograph with its marks", draw_marked_picture(held, marks, done)),
        "photograph-marks.toml": File("the marks on the photograph", photograph_marks.format_marks(marks).encode()),
    }


def draw_marked_picture(held: OpenPhotograph, marks: Marks, done: PhotographResult | None) -> bytes:
    """The picture with its marks drawn in (PNG)."""
    return pictures.draw_marks(pictures.open_photo(held.picture.name, held.data), marks, done)


def open_photograph(name: str, data: bytes, version: int, demo: bool = False) -> OpenPhotograph:
    """A picture from a file.  Raises InputError."""
    photo = pictures.open_photo(name, data)
    return OpenPhotograph(photo.picture, data, pictures.encode_jpeg(photo), version=version, demo=demo)


@cache
def load_demo() -> tuple[bytes, dict[str, Vec]]:
    """The invented picture, of the first shipped unit, and a careful hand's clicks on it."""
    return invented.make_demo(load_demo_unit())


def load_demo_unit() -> ActionUnit:
    """The unit that the invented picture shows."""
    return sim.load(FIRST_SCENARIO)


def format_fields(marks: Marks) -> dict[str, str]:
    """What the fields of the page say where these marks were made: lengths as they would be typed."""
    return {
        "width": _mm(marks.card[0]), "height": _mm(marks.card[1]), "rule": ", ".join(map(_mm, marks.rule)),
        "x": _mm(marks.origin_at[0]), "y": _mm(marks.origin_at[1]), "click": f"{marks.click:.12g}",
        "depth": _mm(marks.depth), "distance": _mm(marks.distance), "most": _mm(marks.most),
    }  # fmt: skip


def _mm(si: float) -> str:
    """As it would be typed, to the last figure."""
    return format_quantity(si, "mm", LENGTH)


def parse_fields(picture: Picture, fields: Mapping[str, str], origin: str, level_line: bool) -> Marks:
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
        return parse_quantity(text, LENGTH)

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


def find_place(unit: ActionUnit, click: str) -> Vec:
    """Where a unit has the place that a frame is hung on."""
    if click == PIN:
        return 0.0, 0.0
    part, name = click.split(".")
    x, y = getattr(getattr(unit, part), name)
    return float(x), float(y)


def find_title(click: str) -> str:
    """What a place to click is called."""
    return next(a.told for a in list_clicks(2, True) if a.name == click)
