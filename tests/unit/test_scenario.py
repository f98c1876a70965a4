"""From scenario files to action units: derivation, defaults, sources, overrides, base files, schema."""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from sim.errors import InputError
from sim.fields import schema
from sim.fields.defaults import is_sharp
from sim.fields.field_paths import index_fields, list_fields
from sim.scenario.load import load, loads
from sim.shared_files import find_shared_file
from sim.unit.centres import convert_swings_to_torque
from sim.unit.contacts import CONTACT_NAMES
from sim.unit.model import CENTRES, ActionUnit
from tests.lazily import Lazily
from tests.swings import compute_amplitude_loss, convert_torque_to_swings, count_swings
from tests.tiers import try_each

jsonschema = Lazily("jsonschema")

SCENARIOS = Path(__file__).parents[2] / "scenarios"
NATURAL = SCENARIOS / "concert-grand-natural.toml"
SHORT = 'name = "short"\nkey_number = 40\n'


@pytest.fixture(scope="module")
def natural() -> ActionUnit:
    return load(NATURAL)


# Coordinates (mm, deg) of the project's own design set of a middle note.  They were found by computation, not
# measured; they check the way from measures to coordinates, not the model.
DESIGN: list[tuple[str, tuple[float, ...], str]] = [
    ("key.touch_point", (-250.0, 22.0), ""),
    ("key.front_edge_x", (-263.0,), ""),
    ("key.punching_x", (-250.0,), ""),
    ("key.punching_plane_y", (-9.42,), ""),
    ("key.back_cloth_x", (225.0,), ""),
    ("key.back_cloth_plane_y", (0.0,), ""),
    ("key.capstan_centre", (131.02, 33.14), ""),
    ("key.capstan_radius", (10.0,), ""),
    ("key.backcheck_foot", (242.69, 85.03), ""),
    ("key.backcheck_angle", (68.0,), "deg"),
    ("key.backcheck_length", (22.0,), ""),
    ("wippen.centre", (188.44, 64.84), ""),
    ("wippen.heel_point", (131.02, 43.04), "wippen"),
    ("wippen.jack_centre", (113.36, 75.71), "wippen"),
    ("wippen.lever_centre", (155.33, 111.99), "wippen"),
    ("wippen.mass_centre", (-43.0, 10.0), ""),
    ("jack.top_front", (117.69, 126.16), "jack"),
    ("jack.top_rear", (121.46, 125.70), "jack"),
    ("jack.top_edge_radius", (0.4,), ""),
    ("jack.rear_face_down_to", (120.11, 114.78), "jack"),
    ("jack.toe_centre", (88.36, 81.71), "jack"),
    ("jack.toe_radius", (3.0,), ""),
    ("jack.mass_centre", (-4.0, 22.0), ""),
    ("lever.surface_from", (100.98, 128.78), "lever"),
    ("lever.surface_to", (164.50, 120.93), "lever"),
    ("lever.mass_centre", (-16.0, 6.0), ""),
    ("hammer.centre", (107.42, 142.88), ""),
    ("hammer.rest_angle", (-18.64,), "deg"),
    ("hammer.knuckle_centre", (17.0, -6.5), ""),
    ("hammer.knuckle_radius", (5.0,), ""),
    ("hammer.strike_point", (131.0, 50.0), ""),
    ("hammer.tail_centre", (134.0, -19.4), ""),
    ("hammer.tail_radius", (6.0,), ""),
    ("hammer.cushion_point", (80.0, -3.0), ""),
    ("hammer.head_mass_centre", (131.0, 20.0), ""),
    ("rails.let_off_button_plane_y", (89.98,), ""),
    ("rails.drop_screw_tip", (107.93, 136.78), ""),
    ("rails.drop_screw_radius", (3.0,), ""),
    ("rails.rest_cushion_plane_y", (110.47,), ""),
    ("rails.string_y", (192.88,), ""),
]

DESIGN_MASSES = [  # SI
    ("key.inertia_front", 1.7e-3),
    ("key.inertia_rear", 1.9e-3),
    ("key.front_moment", 24.4e-3 * 0.25),
    ("wippen.mass", 12.45e-3),
    ("wippen.inertia", 3.11e-5),
    ("jack.mass", 3.5e-3),
    ("jack.inertia", 3.6e-6),
    ("jack.largest_turn", 0.42),
    ("lever.mass", 4.5e-3),
    ("hammer.head_mass", 7.5e-3),
    ("hammer.shank_mass_moment", 2.7e-4),
    ("springs.repetition", 0.033),
    ("springs.jack", 0.0025),
]


def coordinate(unit: ActionUnit, path: str, frame: str) -> tuple[float, ...]:
    """A coordinate in mm (deg for angles) in the frame of the design set, which is absolute for jack and lever."""
    part, name = path.split(".")
    value = getattr(getattr(unit, part), name)
    if frame == "deg":
        return (math.degrees(value),)
    point = value if isinstance(value, tuple) else (value,)
    shift = {"": (0.0, 0.0), "wippen": unit.wippen.centre}
    for inner in ("jack", "lever"):
        centre = getattr(unit.wippen, f"{inner}_centre")
        shift[inner] = (unit.wippen.centre[0] + centre[0], unit.wippen.centre[1] + centre[1])
    return tuple(1e3 * (x + s) for x, s in zip(point, shift[frame], strict=False))


@pytest.mark.parametrize(("path", "expected", "frame"), DESIGN)
def test_measures_give_the_design_coordinates(
    natural: ActionUnit, path: str, expected: tuple[float, ...], frame: str
) -> None:
    assert coordinate(natural, path, frame) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(("path", "expected"), DESIGN_MASSES)
def test_measures_give_the_design_masses(natural: ActionUnit, path: str, expected: float) -> None:
    part, name = path.split(".")
    assert getattr(getattr(natural, part), name) == pytest.approx(expected, rel=2e-3)


def test_weights_come_back_from_the_parts(natural: ActionUnit) -> None:
    """Tipping the assembled parts gives the weights that the scenario states (statics)."""
    w, h = natural.wippen, natural.hammer
    moment = -w.mass * w.mass_centre[0]
    for part, centre in ((natural.jack, w.jack_centre), (natural.lever, w.lever_centre)):
        moment -= part.mass * (centre[0] + part.mass_centre[0])
    assert moment / -w.heel_point[0] == pytest.approx(18e-3, rel=1e-9)
    assert (h.head_mass * h.head_mass_centre[0] + h.shank_mass_moment) / h.strike_point[0] == pytest.approx(9.56e-3)


def test_knuckle_lies_on_the_lever_and_jack_below_it(natural: ActionUnit) -> None:
    """The pose answers to its definition: knuckle touching, jack at its height, address and distance to the toe."""
    lever = natural.wippen.lever_centre
    ax, ay, bx, by = (1e3 * v for v in (*natural.lever.surface_from, *natural.lever.surface_to))
    length = math.hypot(bx - ax, by - ay)

    def over_surface(point: tuple[float, float]) -> float:
        x, y = (1e3 * (p - c) for p, c in zip(point, lever, strict=True))
        return float(((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / length)

    c, s = math.cos(natural.hammer.rest_angle), math.sin(natural.hammer.rest_angle)
    along, across = natural.hammer.knuckle_centre
    knuckle = tuple(
        h - w + d
        for h, w, d in zip(
            natural.hammer.centre, natural.wippen.centre, (c * along - s * across, s * along + c * across), strict=True
        )
    )
    assert over_surface((knuckle[0], knuckle[1])) == pytest.approx(5.0, abs=1e-6)
    rear = tuple(j + t for j, t in zip(natural.wippen.jack_centre, natural.jack.top_rear, strict=True))
    assert 1e3 * (knuckle[0] - rear[0]) == pytest.approx(-0.01, abs=1e-6)
    front = tuple(j + t for j, t in zip(natural.wippen.jack_centre, natural.jack.top_front, strict=True))
    middle = ((rear[0] + front[0]) / 2, (rear[1] + front[1]) / 2)
    assert over_surface(middle) == pytest.approx(-0.15 - 0.4, abs=2e-3)


@pytest.mark.parametrize("file", sorted(SCENARIOS.glob("*.toml")), ids=lambda p: p.stem)
def test_every_scenario_loads_and_says_it_is_invented(file: Path) -> None:
    unit = load(file)
    head = "".join(line for line in file.read_text(encoding="utf-8").splitlines() if line.startswith("#"))
    assert "INVENTED" in head
    assert unit.key.sharp == is_sharp(unit.key_number)
    assert set(unit.friction) == set(CENTRES)
    assert set(unit.contacts) == set(CONTACT_NAMES)
    assert all(math.isfinite(v) for v in unit.nominal.values())
    jsonschema.validate(tomllib.loads(file.read_text(encoding="utf-8")), schema.build_schema())


def test_a_scenario_may_leave_out_nearly_everything() -> None:
    unit = loads(SHORT)
    assert len(unit.assumed) > 100
    assert unit.damper is None
    assert not any("damper" in path for path in unit.assumed)
    assert load(NATURAL).assumed  # the felts, which nobody measured
    assert not any(path.startswith(("key.", "wippen.", "hammer.")) for path in load(NATURAL).assumed)


def test_defaults_follow_the_compass() -> None:
    weights = [loads(f'name = "x"\nkey_number = {k}').nominal["hammer.weight"] for k in (1, 20, 40, 60, 88)]
    assert weights == sorted(weights, reverse=True)
    natural, sharp = (loads(f'name = "x"\nkey_number = {k}') for k in (40, 41))
    assert sharp.key.front_edge_x > natural.key.front_edge_x
    assert sharp.key.sharp


def test_sources_and_uncertainty() -> None:
    unit = loads(
        SHORT
        + 'default_source = "estimated"\n[hammer]\nbore = "50 mm"\n'
        + 'knuckle_set = { value = "17 mm", source = "measured", uncertainty = "0.1 mm", note = "calliper" }\n'
        + '[friction]\nhammer = { swings = 5, from = "40 deg", uncertainty = "2" }\n'
        + 'key = { force = "5 gf", uncertainty = "10 %" }'
    )
    assert unit.sources["hammer.bore"].kind == "estimated"
    assert unit.sources["hammer.knuckle_set"].kind == "measured"
    assert unit.sources["hammer.knuckle_set"].uncertainty == pytest.approx(1e-4)
    assert unit.sources["hammer.knuckle_set"].note == "calliper"
    assert unit.sources["friction.hammer"].uncertainty == pytest.approx(0.4 * unit.friction["hammer"])
    assert unit.sources["friction.key"].uncertainty == pytest.approx(0.1 * unit.friction["key"])
    assert unit.sources["wippen.weight"].kind == "assumed"


def test_friction_in_its_forms() -> None:
    at_radius = loads(SHORT + '[friction]\nhammer = { force = "3 gf", radius = "23 mm" }\nkey = "5.8 gf"')
    assert at_radius.friction["hammer"] == pytest.approx(3 * 9.80665e-3 * 0.023)
    assert at_radius.friction["key"] == pytest.approx(5.8 * 9.80665e-3 * 0.25)
    swung = loads(SHORT + '[friction]\nhammer = { swings = 5, from = "40 deg" }')
    h = swung.hammer
    hanging = 9.80665 * math.hypot(
        h.head_mass * h.head_mass_centre[0] + h.shank_mass_moment, h.head_mass * h.head_mass_centre[1]
    )
    assert compute_amplitude_loss(swung.friction["hammer"], hanging) * 5 == pytest.approx(math.radians(40))


@pytest.mark.parametrize("count", [1, 2, 4, 7, 15])
def test_swings_and_torque_are_inverse(count: int) -> None:
    torque = convert_swings_to_torque(count, 0.7, 12e-3)
    assert convert_torque_to_swings(torque, 0.7, 12e-3) == pytest.approx(count)
    assert count_swings(torque, 0.7, 12e-3) == count


def test_leads_speak_where_no_front_weight_is_given() -> None:
    key = '[key]\nmass = "115 g"\nfront_to_balance = "263 mm"\nrear_length = "255 mm"\ncapstan_mass = "6 g"\n'
    key += 'backcheck_mass = "10 g"\nleads = [{{ mass = "15 g", place = "{}" }}]\n'
    near, far = (loads(SHORT + key.format(place)).key for place in ("100 mm", "200 mm"))
    assert far.front_moment - near.front_moment == pytest.approx(15e-3 * 0.1)
    assert far.inertia_front - near.inertia_front == pytest.approx(15e-3 * (0.2**2 - 0.1**2))
    assert far.inertia_rear == near.inertia_rear


def test_string_from_length_tension_and_mass() -> None:
    """C4 of Chaigne and Askenfelt, J. Acoust. Soc. Am. 95 (1994), as quoted: 0.62 m, 670 N, 3.93 g, struck at 0.12."""
    text = '[string]\nlength = "620 mm"\ntension = "670 N"\nmass = "3.93 g"\ncount = 3\nstrike_ratio = "0.12"'
    string = loads(SHORT + text).string
    assert string.impedance == pytest.approx(3 * 2.06, rel=2e-3)
    assert string.near_end_delay + string.far_end_delay == pytest.approx(1 / 262, rel=2e-3)
    assert string.near_end_delay == pytest.approx(0.12 / 262, rel=2e-3)


def test_one_spring_scales_jack_and_lever_together() -> None:
    text = SHORT + '[springs]\narrangement = "one"\nrepetition = "33 N·mm"\njack_share = "0.08"'
    full, weak = loads(text).springs, loads(text, overrides={"springs.repetition": "85%"}).springs
    assert full.jack == pytest.approx(0.08 * full.repetition)
    assert weak.repetition == pytest.approx(0.85 * full.repetition)
    assert weak.jack == pytest.approx(0.85 * full.jack)


def test_overrides() -> None:
    change = {
        "springs.repetition": "85%",
        "friction.hammer": "1.8 N·mm",
        "contacts.backcheck.friction": "50 %",
        "contacts.string.stiffness": "200%",
        "settings.let_off_button": "5 mm",
        "hammer.shank_bends": "false",
        "friction.key": "200%",
    }
    before, after = load(NATURAL), load(NATURAL, change)
    assert after.springs.repetition == pytest.approx(0.85 * before.springs.repetition)
    assert after.friction["hammer"] == pytest.approx(1.8e-3)
    assert after.friction["key"] == pytest.approx(2 * before.friction["key"])
    assert after.contacts["backcheck"].friction == pytest.approx(0.275)  # half of the default
    assert after.contacts["string"].stiffness == pytest.approx(8e9)
    assert after.hammer.shank_bends is False
    toe = after.wippen.centre[1] + after.wippen.jack_centre[1] + after.jack.toe_centre[1] + after.jack.toe_radius
    assert after.rails.let_off_button_plane_y - toe == pytest.approx(5e-3)
    assert "settings.let_off_button_height" not in after.sources
    assert after.sources["springs.repetition"].note.endswith("85 % of it for this run")


@try_each("one_in", (10, 1))
def test_the_whole_of_its_own_value_changes_nothing(natural: ActionUnit, one_in: int) -> None:
    for path in sorted(natural.nominal)[::one_in]:
        same(natural, load(NATURAL, {path: "100%"}), path)


def same(natural: ActionUnit, again: ActionUnit, path: str) -> None:
    for part in ("key", "wippen", "jack", "lever", "hammer", "rails", "springs", "string", "finger"):
        for name, value in asdict(getattr(natural, part)).items():
            assert asdict(getattr(again, part))[name] == pytest.approx(value, rel=1e-9, abs=1e-12), name
    assert again.friction == pytest.approx(natural.friction)


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("spring.repetition", "85%", "did you mean"),
        ("springs.repetiton", "85%", "springs.repetition"),
        ("springs", "85%", "springs.repetition"),
        ("springs.repetition", "85", "no unit"),
        ("springs.repetition", "900%", "out of range"),
        ("hammer.bore", "-3 mm", "25 to 80 mm"),
        ("hammer.bore", "", "25 to 80 mm"),
        ("settings.let_off_button", "90%", "settings.let_off_button_height"),
        ("targets.blow", "90%", "give a quantity"),
        ("springs.arrangement", "three", "'one' or 'two'"),
        ("based_on", "treble.toml", "change it in the scenario file"),
        ("key_number", "99", "1 to 88"),
        ("rails.spread", "81 mm", "compare rails.spread"),
    ],
)
def test_overrides_are_validated(path: str, value: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        load(NATURAL, {path: value})
    assert words in str(caught.value)
    assert path in str(caught.value)


def test_based_on_holds_what_differs(natural: ActionUnit) -> None:
    text = 'based_on = "concert-grand-natural.toml"\nname = "other"\n[settings]\nlet_off_button = "5 mm"'
    other = loads(text, "other.toml", folder=SCENARIOS)
    assert other.name == "other"
    assert other.key_number == natural.key_number
    assert other.wippen == natural.wippen
    assert other.rails.let_off_button_plane_y != natural.rails.let_off_button_plane_y


def test_raw_coordinates_replace_what_is_derived(natural: ActionUnit) -> None:
    text = (
        'based_on = "concert-grand-natural.toml"\n[coordinates.rails]\nstring_y = "193 mm"\n'
        '[coordinates.wippen]\nlever_centre = { value = ["-33 mm", "47 mm"], source = "estimated" }'
    )
    other = loads(text, "other.toml", folder=SCENARIOS)
    assert other.rails.string_y == pytest.approx(0.193)
    assert other.wippen.lever_centre == pytest.approx((-0.033, 0.047))
    assert other.wippen.jack_centre == natural.wippen.jack_centre
    assert other.sources["coordinates.wippen.lever_centre"].kind == "estimated"


def test_fields_and_ranges() -> None:
    bore = index_fields()["hammer.bore"]
    assert (bore.unit, bore.minimum, bore.maximum) == ("mm", 25, 80)
    assert all(f.doc for f in list_fields() if f.path.split(".")[0] != "coordinates")


def test_schema_is_up_to_date() -> None:
    assert find_shared_file("scenario.schema.json").read_text(encoding="utf-8") == schema.render_schema()
    jsonschema.Draft202012Validator.check_schema(schema.build_schema())


@pytest.mark.parametrize(
    "tree",
    [
        {"name": "x"},
        {"name": "x", "key_number": 40, "hammer": {"bor": "50 mm"}},
        {"name": "x", "key_number": 40, "hammer": {"bore": 50}},
        {"name": "x", "key_number": 40, "friction": {"key": {"swings": 4, "from": "40 deg"}}},
        {"name": "x", "key_number": 40, "hammer": {"bore": {"value": "50 mm", "source": "hearsay"}}},
    ],
)
def test_schema_refuses_what_the_reader_refuses(tree: dict[str, Any]) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tree, schema.build_schema())
    lines = "\n".join(f"{k} = {_toml(v)}" for k, v in tree.items())
    with pytest.raises(InputError):
        loads(lines)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return json.dumps(value)
