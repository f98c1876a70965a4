"""Pictures of others within bounds, the marked one, and the card on paper to the tenth of a millimetre."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from pypdfium2.raw import FPDF_PAGEOBJ_PATH

import sim
from sim.errors import InputError
from sim.photo.photograph import Marks, compute_coordinates
from sim.photo.points import CARD as CROSSES
from sim.report.paper.blocks import Size
from sim.report.paper.pdf import SIZES
from sim.report.paper.scale_card import make_card
from sim.report.photograph import picture as pictures
from sim.report.photograph.demo import CARD, RULE, make_demo
from tests.printed import count_overlaps
from tests.printed import read_pages as read_back
from tests.tiers import try_each

POINTS = 72 / 25.4


def saved(image: Image.Image, kind: str, **more: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)  # type: ignore[arg-type]
    return out.getvalue()


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def bomb(across: int, down: int) -> bytes:
    """A PNG that says it is so large, of a few bytes."""
    head = struct.pack(">IIBBBBB", across, down, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


PLAIN = Image.new("RGB", (400, 300), "#336699")
REFUSED = {
    "a bomb": bomb(100_000, 100_000),
    "a wide bomb": bomb(2**31 - 1, 300),
    "just too many pixels": bomb(10_000, 5_001),
    "a warning's worth of pixels": bomb(10_000, 9_500),
    "cut off": saved(PLAIN, "PNG")[:200],
    "cut off late": saved(Image.effect_noise((400, 300), 50), "JPEG")[:-9000],
    "another kind": saved(PLAIN, "GIF"),
    "a page": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "nothing": b"",
    "too small": saved(Image.new("L", (150, 4000)), "PNG"),
    "too many bytes": b"\xff\xd8" + bytes(pictures.LARGEST),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_picture_or_too_large_is_refused_in_one_word(what: str) -> None:
    with pytest.raises(InputError) as caught:
        pictures.open_photo(f"{what}\n.png", REFUSED[what])
    (fault,) = caught.value.faults
    assert fault.field == "the picture" and fault.remedy and "\n" not in str(fault)


@pytest.mark.parametrize("mode", ["RGB", "L", "RGBA", "P", "1", "CMYK"])
def test_ordinary_ones_are_opened(mode: str) -> None:
    kind = "JPEG" if mode in ("CMYK", "L") else "PNG"
    photo = pictures.open_photo("a.png", saved(PLAIN.convert(mode), kind))
    assert photo.image.mode == "RGB" and (photo.picture.width, photo.picture.height) == (400, 300)


def test_a_telephone_s_picture_is_stood_upright_and_tells_no_place() -> None:
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "maker"
    exif.get_ifd(0x8825)[1] = "N"
    photo = pictures.open_photo("a.jpg", saved(PLAIN, "JPEG", exif=exif))
    assert photo.image.size == (300, 400) == (photo.picture.width, photo.picture.height)
    for shown in (pictures.encode_jpeg(photo), pictures.draw_marks(photo, Marks(photo.picture))):
        again = Image.open(io.BytesIO(shown))
        assert not again.getexif() and b"maker" not in shown


def test_the_marked_picture_shows_each_click_and_what_came_of_it() -> None:
    data, clicks = make_demo(sim.load("concert-grand-natural"))
    photo = pictures.open_photo("invented.jpg", data)
    made = Marks(photo.picture, clicks, CARD, RULE)
    png = pictures.draw_marks(photo, made, compute_coordinates(made))
    image = np.asarray(Image.open(io.BytesIO(png)))
    by = image.shape[1] / photo.picture.width
    for a in made.asked:
        x, y = (round(by * v) for v in clicks[a.name])
        near = image[y - 25 : y + 25, x - 25 : x + 25].reshape(-1, 3)
        colour = tuple(int(pictures.COLOURS[a.group][i : i + 2], 16) for i in (1, 3, 5))
        assert (np.abs(near.astype(int) - colour).sum(axis=1) < 30).sum() > 10, a.name
    assert image.shape[0] > by * photo.picture.height + 300
    with pytest.raises(InputError, match="open the picture"):
        pictures.check_same_picture(made, replace(photo.picture, sha256="0" * 64))
    pictures.check_same_picture(made, photo.picture)


@try_each("size", [(0.240, 0.160), (0.150, 0.100), (0.2, 0.1333)], ids=str)
@try_each("paper", SIZES)
def test_crosses_and_check_line_are_where_they_are_said_to_be(size: tuple[float, float], paper: Size) -> None:
    data = make_card(size, paper)
    (found,) = read_back(data)
    text, each = found.text, found.characters
    assert not np.triu(count_overlaps(each, each), 1).any() and not count_overlaps(each, found.shapes).any()
    assert "Measure this line with a rule: 100 mm" in text
    assert all(f"{1e3 * v:.1f} mm" in text for v in size)
    with pypdfium2.PdfDocument(data) as document:
        page = document[0]
        wide, high = page.get_size()
        assert (wide, high) == pytest.approx(sorted(SIZES[paper], reverse=True), abs=0.01)
        boxes = [o.get_bounds() for o in page.get_objects([FPDF_PAGEOBJ_PATH])]
    middles = {(round((a + c) / 2 / POINTS, 2), round((b + d) / 2 / POINTS, 2)) for a, b, c, d in boxes}
    for across, up in CROSSES.values():
        x, y = wide / 2 / POINTS + 1e3 * size[0] * across, high / 2 / POINTS + 1e3 * size[1] * up
        assert min(np.hypot(x - a, y - b) for a, b in middles) < 0.02
    longest = max(c - a for a, _, c, _ in boxes) / POINTS
    assert longest == pytest.approx(100.25, abs=0.26)


@pytest.mark.parametrize("size", [(0.4, 0.16), (0.24, 0.25), (0.1, 0.1), (0.24, 0.0)])
def test_a_card_that_the_paper_does_not_hold_is_refused(size: tuple[float, float]) -> None:
    with pytest.raises(InputError, match="on A4"):
        make_card(size)
