"""A film is the computed motion: its shapes, places, forces and energies against the model's own."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

import sim
from sim.bench.predict import find_touch
from sim.bench.readings import EVENTS, Strike
from sim.bench.rest_pose import Rest, settle_at_rest
from sim.bench.slow_press import PressRun, press_slowly, read_settings, read_touch_weight
from sim.bench.strike import play_touch, run_blow
from sim.physics.mechanism import DOFS
from sim.physics.run import PARAMETER_TYPE, Run, Trace
from sim.report.drawing.film import build_film, build_press_film
from sim.report.drawing.outline import place_moving_shapes
from sim.report.drawing.shapes import Pose
from sim.report.drawing.surroundings import build_fixed_shapes
from sim.report.formats.packed_columns import LEVELS, pack_columns, select_columns
from sim.unit.contacts import CONTACT_INDEX, CONTACTS, RUBBING
from sim.unit.model import GRAVITY
from tests.app.packed import unpack_column
from tests.physics import geometry

Film = dict[str, Any]
UNITS = ("concert-grand-natural", "damped")
ROWS = (0, 700, 731, 760, -1)
"""At rest, about let-off, about the string, on the way back and at the end."""


class Stroke:
    """A blow, its film, and the trace at the film's rows."""

    def __init__(self, name: str) -> None:
        self.rest: Rest = settle_at_rest(sim.load(name))
        self.strike: Strike
        self.run: Run
        self.strike, self.run = play_touch(self.rest, find_touch("moderate"), 0.3)
        self.film: Film = build_film(self.rest, self.run, self.strike.events, "a blow")
        self.rows = self.film["table"]["rows"]
        self.trace = Trace(self.run.trace.data[:: self.stride][: self.rows])

    @property
    def stride(self) -> int:
        t = self.run.trace["t"]
        return round(float(self.film["step"]) * 1e-3 / float(t[1] - t[0]))

    @property
    def values(self) -> dict[str, float]:
        return {name: float(self.rest.parameters[0][name]) for name in PARAMETER_TYPE.names or ()}

    def column(self, name: str) -> np.ndarray:
        return unpack_column(self.film["table"], name)

    def step_of(self, name: str) -> float:
        """Half of what the stored numbers can tell apart."""
        (found,) = (c for c in self.film["table"]["columns"] if c["name"] == name)
        return 0.5 * float(found["scale"]) + 1e-12

    def pose(self, row: int) -> Pose:
        turns = {name: self.column(name)[row] for name in ("kf", "kr", "w", "j", "l", "h", "r")}
        return Pose(**turns, e=self.column("e")[row] * 1e-3, d=self.column("d")[row] * 1e-3)


@pytest.fixture(scope="module", params=UNITS)
def stroke(request: pytest.FixtureRequest) -> Stroke:
    return Stroke(request.param)


@pytest.fixture(scope="module")
def pressed() -> PressRun:
    return press_slowly(settle_at_rest(sim.load("concert-grand-natural")))


def rotated(points: np.ndarray, angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def placed(shape: dict[str, Any], f: Film, pose: Pose) -> np.ndarray:
    """A film's shape in a pose, as a reader of the film has to do it (mm)."""
    points = np.reshape(shape["points"], (-1, 2))
    amount = {"d": pose.d * 1e3, "e": pose.e * 1e3, "r": pose.r}
    for by, way in shape.get("give", {}).items():
        points = points + np.reshape(way, (-1, 2)) * amount[by]
    centres = {k: np.asarray(v) for k, v in f["centres"].items()}
    if shape["body"] in ("", "d"):
        return points
    origin = np.zeros(2)
    if shape["body"] in ("w", "h"):
        origin = centres[shape["body"]]
    elif shape["body"] in ("j", "l"):
        origin = centres["w"] + rotated(centres[shape["body"]][None], pose.w)[0]
    return np.asarray(origin + rotated(points, getattr(pose, shape["body"])))


@pytest.mark.parametrize("row", ROWS)
def test_shapes_stand_where_the_drawing_has_them(stroke: Stroke, row: int) -> None:
    """Every outline of the drawing is among the film's, to a millionth of a millimetre."""
    unit, pose = stroke.rest.unit, stroke.pose(row)
    drawn = [
        s for s in [*build_fixed_shapes(unit), *place_moving_shapes(unit, pose)] if s.part not in ("spring", "pin")
    ]
    shown = [s for s in stroke.film["shapes"] if s["part"] != "pin"]
    assert len(shown) == len(drawn)
    for shape in drawn:
        like = [s for s in shown if (s["part"], s["stuff"]) == (shape.part, shape.stuff)]
        alike = [placed(s, stroke.film, pose) for s in like if len(s["points"]) == shape.points.size]
        assert min(np.abs(p - shape.points * 1e3).max() for p in alike) < 1e-6, (shape.part, shape.stuff)


@pytest.mark.parametrize("row", ROWS)
def test_spring_runs_where_the_drawing_has_it(stroke: Stroke, row: int) -> None:
    pose, f = stroke.pose(row), stroke.film
    (drawn,) = (s.points * 1e3 for s in place_moving_shapes(stroke.rest.unit, pose) if s.part == "spring")
    s = f["spring"]
    loop = placed({"points": s["loop"], "body": "w"}, f, pose)
    slot = placed({"points": s["slot"], "body": "l"}, f, pose)[0]
    control = loop[-1] * s["share"] + slot * (1 - s["share"]) - [0, s["sag"]]
    half = 0.25 * loop[-1] + 0.5 * control + 0.25 * slot
    assert drawn[: len(loop)] == pytest.approx(loop, abs=1e-6)
    assert drawn[-1] == pytest.approx(slot, abs=1e-6)
    middle = drawn[len(loop) + 11 : len(loop) + 13].mean(axis=0)
    assert middle == pytest.approx(half, abs=0.05)


@pytest.mark.parametrize("row", ROWS)
def test_pins_stand_on_the_centres(stroke: Stroke, row: int) -> None:
    """Round, so that only their middles count (points 0 and 18 of the 36 of a circle are opposite)."""
    pose = stroke.pose(row)
    shown = [placed(s, stroke.film, pose) for s in stroke.film["shapes"] if s["part"] == "pin"]
    drawn = [s.points * 1e3 for s in place_moving_shapes(stroke.rest.unit, pose) if s.part == "pin"]
    middles = [np.array([(p[0] + p[18]) / 2 for p in circles]) for circles in (shown, drawn)]
    assert middles[0] == pytest.approx(middles[1], abs=1e-6)


@pytest.mark.parametrize("name", ["kf", "kr", "w", "j", "l", "h"])
def test_turns_are_the_traces_own(stroke: Stroke, name: str) -> None:
    assert np.abs(stroke.column(name) - stroke.trace[name]).max() <= stroke.step_of(name)


def test_what_is_stored_moves_the_picture_by_less_than_two_micrometres(stroke: Stroke) -> None:
    from sim.report.drawing.figures import get_pose

    for row in ROWS:
        exact = place_moving_shapes(stroke.rest.unit, get_pose(stroke.trace, row))
        stored = place_moving_shapes(stroke.rest.unit, stroke.pose(row))
        assert max(np.abs(a.points - b.points).max() for a, b in zip(exact, stored, strict=True)) < 2e-6


def test_rows_are_at_the_traces_times(stroke: Stroke) -> None:
    times = stroke.film["start"] + stroke.film["step"] * np.arange(stroke.rows)
    assert times == pytest.approx(stroke.trace["t"] * 1e3, abs=1e-6)
    assert stroke.film["step"] == pytest.approx(0.12, abs=0.02)


@pytest.mark.parametrize("contact", CONTACTS, ids=lambda c: c.name)
def test_forces_and_gaps_are_the_computed_ones(stroke: Stroke, contact: Any) -> None:
    name = contact.name
    force = stroke.trace["finger_force" if name == "finger" else f"N_{name}"]
    assert np.abs(stroke.column(f"N_{name}") - force).max() <= stroke.step_of(f"N_{name}")
    if not force.any():
        return
    p = stroke.values
    for row in ROWS:
        q = np.array([stroke.trace[d][row] for d in DOFS])
        gap = geometry.measure_gap(contact, q, p, float(stroke.trace["string"][row]))
        assert stroke.column(f"gap_{name}")[row] == pytest.approx(gap * 1e3, abs=stroke.step_of(f"gap_{name}"))


@pytest.mark.parametrize("name", RUBBING)
def test_places_lie_on_both_surfaces(stroke: Stroke, name: str) -> None:
    """From the film's point on the face, the gap further along the normal, is the point on the circle."""
    contact = CONTACTS[CONTACT_INDEX[name]]
    if not stroke.trace[f"N_{name}"].any():  # then its force is all that is shown
        return
    p = stroke.values
    close = 1e3 * 2e-6
    for row in ROWS:
        q = np.array([stroke.trace[d][row] for d in DOFS])
        on_circle, normal, _, _ = geometry.find_contact_place(contact, q, p)
        face = np.array([stroke.column(f"x_{name}")[row], stroke.column(f"y_{name}")[row]])
        gap = stroke.column(f"gap_{name}")[row]
        if name == "jack_knuckle":  # its circle holds the jack's rounded edge too: the point lies within it by that
            on_circle = on_circle + (p["knuckle_on_jack_r"] - p["knuckle_r"]) * normal
        assert face + gap * normal == pytest.approx(on_circle * 1e3, abs=close)
        lie = stroke.column(f"lie_{name}")[row]
        sign = -1.0 if contact.on_face else 1.0
        assert [math.cos(lie), math.sin(lie)] == pytest.approx(sign * normal, abs=1e-3)


def test_arrow_at_the_knuckle_leans_by_its_friction(stroke: Stroke) -> None:
    row = int(np.argmax(stroke.trace["N_jack_knuckle"]))
    lean = stroke.column("way_jack_knuckle")[row] - stroke.column("lie_jack_knuckle")[row]
    pull, push = stroke.trace["T_jack_knuckle"][row], stroke.trace["N_jack_knuckle"][row]
    assert abs(math.tan(lean)) == pytest.approx(abs(pull) / push, abs=1e-3)
    assert abs(pull) > 0.01


def test_curves_are_the_runs_own(stroke: Stroke) -> None:
    place = stroke.run.place
    for name, values in (
        ("crown", place.crown_to_string * 1e3),
        ("travel", stroke.rest.travel(stroke.run) * 1e3),
        ("crown_speed", place.crown_speed),
        ("key_speed", place.key_speed),
    ):
        wanted = values[:: stroke.stride][: stroke.rows]
        assert np.abs(stroke.column(name) - wanted).max() <= stroke.step_of(name), name


def test_energies_close_with_the_runs_ledger() -> None:
    """Cut in mid-stroke, so that the film ends where the run does."""
    rest = settle_at_rest(sim.load("concert-grand-natural"))
    run = run_blow(rest, find_touch("medium"), 0.095)
    table = build_film(rest, run, {}, "")["table"]
    at_end = {n: float(unpack_column(table, n)[-1]) * 1e-3 for n in ("work", "moving", "stored", "sounding", "lost")}
    ledger = run.ledger
    found = [at_end["work"], at_end["moving"], at_end["stored"], at_end["sounding"], at_end["lost"]]
    wanted = [ledger.finger, ledger.kinetic, ledger.potential + ledger.squeezed, ledger.string, ledger.lost]
    assert found == pytest.approx(wanted, abs=0.01 * ledger.finger)


def test_events_are_the_strikes_own(stroke: Stroke) -> None:
    damped = stroke.rest.unit.damper is not None
    names = [e["name"] for e in stroke.film["events"]]
    assert names == [n for n in EVENTS if damped or n != "damper_starts"]
    for event in stroke.film["events"]:
        time = stroke.strike.events[event["name"]]
        assert event["title"] == EVENTS[event["name"]]
        assert event["ms"] == (None if time is None else pytest.approx(time * 1e3))


def test_film_ends_when_all_is_still() -> None:
    stroke = Stroke("concert-grand-natural")
    end = stroke.film["start"] + stroke.film["step"] * (stroke.rows - 1)
    assert stroke.strike.events["caught"] is not None
    assert stroke.strike.events["caught"] * 1e3 < end < float(stroke.run.trace["t"][-1]) * 1e3
    later = stroke.run.trace["t"] > end * 1e-3
    assert np.ptp(stroke.run.place.crown_to_string[later]) < 5e-5


def test_every_felt_named_is_drawn(stroke: Stroke) -> None:
    drawn = {(s["part"], s["stuff"]) for s in stroke.film["shapes"]}
    damped = stroke.rest.unit.damper is not None
    fitted = [c.soft for c in CONTACTS if c.soft.part and (damped or "damper" not in c.name)]
    assert {(soft.part, soft.material) for soft in fitted} <= drawn


def test_payloads_stay_small(stroke: Stroke, pressed: PressRun) -> None:
    from dashboard.components.mechanism import encode_message

    assert len(encode_message(stroke.film, key="k")) < 600_000
    slow = build_press_film(pressed)
    assert len(encode_message({}, slow)) < 150_000


def test_slow_press_goes_over_the_hump_and_back(pressed: PressRun) -> None:
    """Its greatest force before escape is the bench's let-off resistance; the jack is home where the bench has it."""
    f = build_press_film(pressed)
    weight, _ = read_touch_weight(pressed)
    assert weight.let_off_hump is not None and weight.down_weight is not None
    travel, force = unpack_column(f["down"], "travel"), unpack_column(f["down"], "finger_gf")
    hump = force[travel <= f["escape"]].max()
    assert hump == pytest.approx((weight.let_off_hump + weight.down_weight) / GRAVITY * 1e3, abs=2.0)
    crown = unpack_column(f["down"], "crown")
    assert crown.min() == pytest.approx(read_settings(pressed, drop=False, wink=False).let_off * 1e3, abs=0.02)  # type: ignore[operator]
    assert travel[int(crown.argmin())] == pytest.approx(f["escape"], abs=0.03)
    back = unpack_column(f["up"], "travel")
    for way in (travel, back):
        assert (np.diff(way) >= -1e-3).all() and way[-1] - way[0] > 9.0
    assert f["home"] < f["escape"]
    middle = np.searchsorted(back, 4.0)
    assert unpack_column(f["up"], "finger_gf")[middle] < force[np.searchsorted(travel, 4.0)]


def test_slow_press_that_blocks_has_no_way_back() -> None:
    unit = sim.load("concert-grand-natural", {"settings.let_off_button": "+6 mm"})
    pressed = press_slowly(settle_at_rest(unit))
    f = build_press_film(pressed)
    assert not pressed.plays
    assert f["up"] is None and f["escape"] is None
    assert f["outcome"] == pressed.outcome and f["reason"] == pressed.reason


def test_packed_columns_come_back_within_half_a_step() -> None:
    t = np.linspace(0.0, 7.0, 999)
    table = pack_columns({"sine": np.sin(t), "same": np.full(999, 2.5), "ramp": t - 3.0})
    assert len(table["bytes"]) == 2 * 999 * 2
    assert np.abs(unpack_column(table, "sine") - np.sin(t)).max() <= 0.5 * np.ptp(np.sin(t)) / LEVELS * 1.001
    assert (unpack_column(table, "same") == 2.5).all()
    few = select_columns(table, ["same", "ramp"])
    assert (unpack_column(few, "ramp") == unpack_column(table, "ramp")).all()
    assert [c["name"] for c in few["columns"]] == ["same", "ramp"]
    assert len(few["bytes"]) == 999 * 2
