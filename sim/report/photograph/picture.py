"""Photographs of others: opened within bounds, shown upright, and kept with what was marked on them."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass

from matplotlib import get_data_path
from PIL import Image, ImageDraw, ImageFont, ImageOps

from sim.errors import InputError
from sim.fields.quantity_field import fit_on_line
from sim.fields.untrusted_text import make_input_error
from sim.photo.photograph import Marks, PhotographResult, Picture
from sim.units import format_mm

LARGEST = 25_000_000
"""Bytes of a picture; a telephone's have three to fifteen million."""
MOST_PIXELS = 50_000_000
SMALLEST = 200
"""Pixels along a side that anything could be told on."""
SHOWN_PIXELS = 4096
"""Pixels along the longer side of what a page shows; larger pictures are shown smaller, clicks count on the whole."""
MARKED_PIXELS = 2400
"""Pixels along the longer side of the marked picture that is kept."""
FORMATS = ("PNG", "JPEG")
COLOURS = {"card": "#0b6e4f", "rule": "#8a4b08", "frame": "#6a1b9a", "parts": "#b3261e"}
WANTED = f"a PNG or JPEG of at most {LARGEST / 1e6:g} MB and {MOST_PIXELS / 1e6:g} million pixels"


@dataclass(frozen=True)
class Photo:
    """An opened photograph, upright, without whatever else its file held."""

    picture: Picture
    image: Image.Image


def open_photo(name: str, data: bytes) -> Photo:
    """A picture from a file's bytes.  Raises InputError for what is none, or larger than any needs to be."""
    shown = fit_on_line(name[-80:], 80) or "picture"
    remedy = "save it again as one of these, smaller"
    if len(data) > LARGEST:
        raise make_input_error(shown, "the picture", f"{len(data) / 1e6:.1f} MB", WANTED, remedy)
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as found:
            across, down = found.size
            if across * down > MOST_PIXELS:
                raise make_input_error(shown, "the picture", f"{across} × {down} pixels", WANTED, remedy)
            if min(across, down) < SMALLEST:
                told = f"{across} × {down} pixels"
                raise make_input_error(
                    shown, "the picture", told, f"{SMALLEST} pixels or more each way", "take a larger one"
                )
            upright = ImageOps.exif_transpose(found).convert("RGB")
    except InputError:
        raise
    except (OSError, ValueError, SyntaxError, ArithmeticError, LookupError, MemoryError, TypeError):
        raise make_input_error(shown, "the picture", "not to be read as one", WANTED, remedy) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise make_input_error(shown, "the picture", "more pixels than it should have", WANTED, remedy) from None
    mark = hashlib.sha256(data).hexdigest()
    return Photo(Picture(shown, *upright.size, len(data), mark), _strip_metadata(upright))


def _strip_metadata(image: Image.Image) -> Image.Image:
    """The pixels alone: no place, date or camera goes with them."""
    image.info.clear()
    return image


def check_same_picture(marks: Marks, there: Picture) -> None:
    """Raises InputError where marks were made on another picture."""
    if marks.picture.sha256 != there.sha256:
        told = f"marks of {marks.picture.name}, SHA-256 {marks.picture.sha256[:12]}"
        allowed = f"marks of {there.name}, SHA-256 {there.sha256[:12]}"
        raise make_input_error(
            marks.picture.name, "picture", told, allowed, "open the picture that these marks belong to"
        )


def encode_jpeg(photo: Photo) -> bytes:
    """What a page shows of it."""
    image = photo.image
    if max(image.size) > SHOWN_PIXELS:
        image = image.copy()
        image.thumbnail((SHOWN_PIXELS, SHOWN_PIXELS))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=88)
    return out.getvalue()


def draw_marks(photo: Photo, marks: Marks, done: PhotographResult | None = None) -> bytes:
    """A PNG of the picture with every click on it, numbered, and a key below with what came of each."""
    by = min(1.0, MARKED_PIXELS / max(photo.image.size))
    across, down = (max(1, round(by * n)) for n in photo.image.size)
    size = max(11, round(across / 110))
    lines = _key(marks, done)
    rows = -(-len(lines) // 2)
    whole = Image.new("RGB", (across, down + round(1.5 * size * (rows + 4))), "white")
    whole.paste(photo.image.resize((across, down)))
    draw, font = ImageDraw.Draw(whole), ImageFont.truetype(f"{get_data_path()}/fonts/ttf/DejaVuSans.ttf", size)
    for number, (name, colour) in enumerate(_list_clicks(marks), 1):
        x, y = (by * v for v in marks.clicks[name])
        _cross(draw, x, y, size, colour)
        draw.text((x + 0.5 * size, y - 1.5 * size), str(number), colour, font, stroke_width=2, stroke_fill="white")
    draw.text((size, down + size), _head(marks), "black", font)
    for i, (line, colour) in enumerate(lines):
        at = size + (i // rows) * across / 2, down + 1.5 * size * (i % rows + 2.5)
        draw.text(at, line, colour, font)
    out = io.BytesIO()
    whole.save(out, "PNG", optimize=False)
    return out.getvalue()


def _cross(draw: ImageDraw.ImageDraw, x: float, y: float, size: int, colour: str) -> None:
    """Arms that leave the place itself free."""
    for width, ink in ((5, "white"), (2, colour)):
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            near, far = 0.25 * size, 0.9 * size
            draw.line((x + near * dx, y + near * dy, x + far * dx, y + far * dy), ink, width)


def _list_clicks(marks: Marks) -> list[tuple[str, str]]:
    return [(a.name, COLOURS[a.group]) for a in marks.asked if a.name in marks.clicks]


def _head(marks: Marks) -> str:
    p = marks.picture
    card = f"card {format_mm(marks.card[0])} × {format_mm(marks.card[1])}"
    return f"{p.name}, {p.width} × {p.height} pixels, SHA-256 {p.sha256[:16]}…; {card}"


def _key(marks: Marks, done: PhotographResult | None) -> list[tuple[str, str]]:
    found = {} if done is None else {f.path: f for f in done.found if f.path in marks.clicks}
    told = {a.name: a.told for a in marks.asked}
    lines = []
    for number, (name, colour) in enumerate(_list_clicks(marks), 1):
        one = found.get(name)
        place = ""
        if one is not None:
            x, y = (f"{1e3 * v:.2f}" for v in one.place)
            place = f": {x}, {y} mm ± {1e3 * one.place_uncertainty:.2f} mm" + ("" if one.given else ", too uncertain")
        lines.append((f"{number}  {_shorten_text(told[name])}{place}", colour))
    return lines


def _shorten_text(text: str, longest: int = 56) -> str:
    return text if len(text) <= longest else f"{text[: longest - 1]}…"
