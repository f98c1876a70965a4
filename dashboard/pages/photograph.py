"""Read a photograph: click the places on it, and have their coordinates with their uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

import pandas as pd
import streamlit as st

from dashboard.components.photograph import show_photograph
from dashboard.session import results
from dashboard.session.state import change_work, get_state
from dashboard.session.text import escape_text, format_faults
from dashboard.widgets import photographs as photo
from dashboard.widgets.figures import show_cached_figure
from dashboard.widgets.photographs import OpenPhotograph
from dashboard.widgets.reading_cards import format_reading_quantity, show_caution
from sim.errors import InputError
from sim.photo import marks as photograph_marks
from sim.photo.photograph import Marks, PhotographResult, compute_coordinates
from sim.photo.points import PIN, list_frame_origins
from sim.report.paper.blocks import Size
from sim.report.paper.scale_card import make_card
from sim.report.photograph import picture as pictures
from sim.report.photograph import tables as sheet
from sim.unit.model import ActionUnit

HELD_KEY, FAULT, STAGE_KEY, TAKEN_KEY = "held_photo", "fault_photo", "stage_photo", "taken_photo"
LEVELS = {True: "a level line that I click", False: "the long side of the card"}
FIELDS = {
    "width": ("Card: width between crosses", "as measured on the print with a steel rule"),
    "height": ("Card: height between crosses", "as measured on the print with a steel rule"),
    "rule": ("Second scale: where its marks are", "two to five places along one steel rule, in order, with units"),
    "x": ("It lies rearward of the balance pin by", "minus: toward the player"),
    "y": ("and above the key's underside by", ""),
    "click": ("A click is good to, pixels", "standard uncertainty across and up"),
    "depth": ("Parts and second scale lie in one depth to", "standard deviation, as held against a straight edge"),
    "distance": ("Camera from the card, about", ""),
    "most": ("Hand on nothing less certain than", "standard uncertainty"),
}
HOW = """\
1. Print the card, measure it, and stand it upright in the plane of the action’s side, its long side level.
2. Lay a steel rule at the depth of the parts, elsewhere in the picture; the more of the action it spans the better.
3. The key is up, the action as it lies at rest. Stand well back (a metre or more), zoom in, hold the camera square to
   the card and level with its middle; the whole picture counts, do not cut it.
4. Click the card’s crosses, the marks of the rule, the balance pin, the two ends of something level, then the parts.
   Only what you click is read."""


def show_page() -> None:
    """The page."""
    st.title("Read a photograph")
    st.markdown(
        "What no rule can reach is read from a picture of the action's side beside a printed card: click the centres "
        "and contact points, and each comes out in the action's frame with its uncertainty."
    )
    with st.expander("How to take the picture, and the card to print"):
        st.markdown(HOW)
        _card()
    _open()
    held = st.session_state.get(HELD_KEY)
    if not isinstance(held, OpenPhotograph):
        st.info("Open a picture, or try it with the invented one.")
        return
    unit = _unit()
    marks = _read_fields(held, unit)
    if marks is None:
        return
    clicks = show_photograph(
        held.shown, held.picture.sha256, (held.picture.width, held.picture.height), marks.asked, held.clicks,
        held.version, key=STAGE_KEY,
    )  # fmt: skip
    st.session_state[HELD_KEY] = replace(held, clicks=clicks)
    marks = replace(marks, clicks={n: at for n, at in clicks.items() if n in {a.name for a in marks.asked}})
    _read(held, marks, unit)


def _unit() -> ActionUnit | None:
    try:
        return results.get_unit(get_state().work)
    except InputError:
        return None


def _card() -> None:
    for column, size in zip(st.columns(2), ("A4", "letter"), strict=True):
        paper: Size = "A4" if size == "A4" else "letter"
        column.download_button(
            f"The card ({size}, PDF)", partial(make_card, photo.USUAL.card, paper), "scale-card.pdf", "application/pdf",
            key=f"card_{size}", width="stretch",
        )  # fmt: skip


def _open() -> None:
    left, right = st.columns(2)
    left.file_uploader(
        "A picture (PNG or JPEG)",
        key="picture_up",
        on_change=_open_upload,
        max_upload_size=pictures.LARGEST // 1_000_000,
        help="it stays on this machine, in memory; nothing of it is kept but what you take away",
    )
    right.file_uploader(
        "Go on from a file of marks (TOML)", key="marks_up", on_change=_marks_opened, max_upload_size=1,
        help="open its picture first",
    )  # fmt: skip
    held = st.session_state.get(HELD_KEY)
    demo, clicked = st.columns(2)
    demo.button("Try the invented picture", key="demo_photo", on_click=_demo, width="stretch")
    clicked.button(
        "Click its places for me", key="click_photo", on_click=_demo_clicks, width="stretch",
        disabled=not (isinstance(held, OpenPhotograph) and held.demo),
    )  # fmt: skip
    if FAULT in st.session_state:
        st.error(st.session_state[FAULT])
    if isinstance(held, OpenPhotograph):
        kind = "invented: no such action exists" if held.demo else "as opened"
        p = held.picture
        st.caption(f"{escape_text(p.name)}: {p.width} × {p.height} pixels, {kind}")


def _version() -> int:
    held = st.session_state.get(HELD_KEY)
    return held.version + 1 if isinstance(held, OpenPhotograph) else 1


def _open_upload() -> None:
    file = st.session_state["picture_up"]
    if file is None:
        return
    try:
        st.session_state[HELD_KEY] = photo.open_photograph(file.name, file.getvalue(), _version())
        st.session_state.pop(FAULT, None)
    except InputError as error:
        st.session_state[FAULT] = format_faults("This picture was not opened; what was there stays.", error)


def _demo() -> None:
    data, _ = photo.load_demo()
    st.session_state[HELD_KEY] = photo.open_photograph("invented-demo.jpg", data, _version(), demo=True)
    st.session_state.pop(FAULT, None)
    _into_fields(replace(photo.USUAL, distance=photo.DEMO_DISTANCE))


def _demo_clicks() -> None:
    _, clicks = photo.load_demo()
    st.session_state[HELD_KEY] = st.session_state[HELD_KEY].with_clicks(clicks)


def _marks_opened() -> None:
    file, held = st.session_state["marks_up"], st.session_state.get(HELD_KEY)
    if file is None:
        return
    try:
        marks = photograph_marks.parse_marks(file.getvalue(), escape_text(file.name)[:80])
        if not isinstance(held, OpenPhotograph):
            st.session_state[FAULT] = f"Open the picture {escape_text(marks.picture.name)} first, then its marks again."
            return
        pictures.check_same_picture(marks, held.picture)
    except InputError as error:
        st.session_state[FAULT] = format_faults("These marks were not taken; what was there stays.", error)
        return
    st.session_state.pop(FAULT, None)
    st.session_state[HELD_KEY] = held.with_clicks(marks.clicks)
    _into_fields(marks)


def _into_fields(marks: Marks) -> None:
    for name, text in photo.format_fields(marks).items():
        st.session_state[f"keep_photo_{name}"] = text
    st.session_state["keep_photo_origin"], st.session_state["keep_photo_level"] = marks.origin, marks.level_line


def _read_fields(held: OpenPhotograph, unit: ActionUnit | None) -> Marks | None:
    """What the fields say of card, second scale and frame; None, and why, where they cannot be understood."""
    for name, text in photo.format_fields(photo.USUAL).items():
        st.session_state.setdefault(f"keep_photo_{name}", text)
    for column, name in zip(st.columns(3), ("width", "height", "rule"), strict=True):
        _field(column, name)
    left, right = st.columns(2)
    origin = left.selectbox(
        "The frame is hung on",
        list_frame_origins(),
        format_func=photo.find_title,
        key="keep_photo_origin",
        on_change=_place_origin,
        args=(unit,),
        help="where the balance pin cannot be seen: a place that is known otherwise",
    )
    level = right.radio(
        "Level is", list(LEVELS), format_func=LEVELS.__getitem__, key="keep_photo_level", horizontal=True
    )
    if origin != PIN:
        for column, name in zip(st.columns(2), ("x", "y"), strict=True):
            _field(column, name)
    with st.expander("How sure"):
        for column, name in zip(st.columns(4), ("click", "depth", "distance", "most"), strict=True):
            _field(column, name)
    fields = {name: str(st.session_state[f"keep_photo_{name}"]) for name in FIELDS}
    try:
        return photo.parse_fields(held.picture, fields, origin, level)
    except InputError as error:
        st.error(format_faults("This cannot be used as it stands.", error))
        return None


def _field(column: st.delta_generator.DeltaGenerator, name: str) -> None:
    title, more = FIELDS[name]
    key = f"keep_photo_{name}"
    # The value is given too: a browser that draws a second run before the first would take the field to be emptied.
    column.text_input(title, st.session_state[key], key=key, max_chars=80, help=more or None)


def _place_origin(unit: ActionUnit | None) -> None:
    """A known place begins where the unit on the bench has it."""
    if unit is not None:
        at = photo.find_place(unit, st.session_state["keep_photo_origin"])
        fields = photo.format_fields(replace(photo.USUAL, origin_at=at))
        st.session_state["keep_photo_x"], st.session_state["keep_photo_y"] = fields["x"], fields["y"]


def _read(held: OpenPhotograph, marks: Marks, unit: ActionUnit | None) -> None:
    done = None
    if marks.missing:
        names = "; ".join(a.told for a in marks.missing[:6])
        more = f"; and {len(marks.missing) - 6} more" if len(marks.missing) > 6 else ""
        st.info(escape_text(f"Still to click: {names}{more}."))
    else:
        try:
            done = compute_coordinates(marks)
        except InputError as error:
            st.error(format_faults("Nothing is read from this picture as it stands.", error))
    if done is not None and done.found:
        _show_found(done, unit)
    elif done is not None:
        st.info("Card, second scale and frame are set: now click the parts that you want.")
    _take_away(held, marks, done)
    if done is not None and done.given:
        _take_over(done)
        show_caution()


def _show_found(done: PhotographResult, unit: ActionUnit | None) -> None:
    view = done.view
    st.subheader("What the picture gives")
    st.markdown(
        f"The lens bows by {100 * view.bow:+.2f} % at the picture's corner; at the depth of the parts everything is "
        f"{100 * view.depth:+.2f} % larger than on the card. Both are allowed for. Clicks on card and second scale "
        f"scatter {view.scatter:.1f} times as much as a click is said to be uncertain."
    )
    rows = [sheet.build_field_row(line, get_state().inches) for line in sheet.list_field_lines(done, unit)]
    st.dataframe(
        pd.DataFrame(rows),
        width="stretch",
        hide_index=True,
        column_config={"what": st.column_config.Column(width=260)},
        alt="fields read, with uncertainty and the bench's own",
    )
    if done.waiting:
        waits = "; ".join(photo.find_title(name) for name in done.waiting)
        st.info(
            escape_text(f"Clicked, but not read until the centre (of a hammer: and its shank) is clicked: {waits}.")
        )
    held_back = [f for f in done.found if not f.given]
    if held_back:
        st.warning(
            f"{len(held_back)} of {len(done.found)} are less certain than "
            f"{format_reading_quantity(done.marks.most, 'mm')} and are "
            "not handed on: stand farther back and more squarely, have card and second scale reach around them."
        )
    show_cached_figure(
        (done.marks, get_state().work), partial(sheet.draw_places, done, unit), "photograph-places",
        "The places as read, to scale, beside those of the scenario on the bench",
    )  # fmt: skip


def _take_away(held: OpenPhotograph, marks: Marks, done: PhotographResult | None) -> None:
    if not marks.clicks:
        st.session_state.pop(photo.MARKED, None)
        return
    st.session_state[photo.MARKED] = partial(photo.build_record_files, held, marks, done)
    st.subheader("Keep it")
    st.caption("It goes with the record that the page *Bench sheet and section* makes, too.")
    columns = st.columns(3)
    columns[0].download_button(
        "The marks (TOML)", photograph_marks.format_marks(marks), "photograph-marks.toml", "application/toml",
        key="marks_toml", width="stretch", help="with the picture, they give the same again",
    )  # fmt: skip
    columns[1].download_button(
        "The marked picture (PNG)",
        partial(photo.draw_marked_picture, held, marks, done),
        "photograph-marked.png",
        "image/png",
        key="marked_png",
        width="stretch",
    )
    if done is not None and done.given:
        columns[2].download_button(
            "Coordinates for a scenario (TOML)", sheet.format_fragment(done), "photograph-coordinates.toml",
            "application/toml", key="fragment_toml", width="stretch",
        )  # fmt: skip


def _take_over(done: PhotographResult) -> None:
    st.button(
        f"Put these {len(done.given)} into the scenario on the bench", key="take_photo", type="primary",
        on_click=_show_taken, args=(sheet.build_edits(done),),
    )  # fmt: skip
    if TAKEN_KEY in st.session_state:
        st.error(st.session_state.pop(TAKEN_KEY))


def _show_taken(edits: Mapping[str, str]) -> None:
    work = get_state().work
    for path, text in edits.items():
        work = work.with_edit(path, text)
    try:
        work.start()
    except InputError as error:
        st.session_state[TAKEN_KEY] = format_faults("They were not taken over: such a unit cannot be set up.", error)
        return
    change_work(work)
    get_state().notice = f"{len(edits)} coordinates are in the scenario now. Undo brings back what was."
