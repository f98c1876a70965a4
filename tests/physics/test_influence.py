"""How readings answer to inputs: against levers worked out by hand, other steps, the trade, and known functions."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.bench import release, strike
from sim.bench.predict import MODERATE, find_touch
from sim.bench.reading_list import list_readings, take_readings
from sim.bench.rest_pose import settle_at_rest
from sim.cli.command import ExitCode
from sim.errors import InputError
from sim.fields.field_paths import index_fields
from sim.scenario.load import load
from sim.studies import spring as spring_study
from sim.studies.adjustment_mode import REGULATED, choose_adjustment_mode
from sim.studies.influence import Slope, choose_natural_amount, compute_influences
from sim.studies.tolerances import find_tolerance
from sim.studies.variants import BaseScenario, carry_over_changes
from sim.unit.model import GRAVITY

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
DEMO, WISHES = SCENARIOS / "concert-grand-natural.toml", SCENARIOS / "targets-example.toml"
GF = GRAVITY * 1e-3
WEIGHED = (
    "friction.key", "friction.wippen", "friction.hammer", "friction.jack", "key.front_weight", "hammer.weight",
    "hammer.knuckle_set", "settings.let_off_button_height", "settings.backcheck_height",
)  # fmt: skip
READ = ("down_weight", "friction", "balance_weight", "let_off", "blow")


@cache
def origin(path: Path = DEMO) -> BaseScenario:
    return BaseScenario.of(path)


@cache
def slopes() -> dict[tuple[str, str], Slope]:
    return {(a.path, name): s for a in compute_influences(origin(), WEIGHED, READ) for name, s in a.slopes.items()}


def by_hand(centre: str) -> float:
    """Friction felt at the touch point per torque of a centre, gf per N·mm: turn of the centre per key travel.

    Virtual work on plane levers, arms from the scenario: the key turns by 1 over
    its touch arm; the wippen by the capstan's arm over that and the heel's arm;
    the hammer by the key's lift times the mean leverage over the strike radius.
    """
    u = origin().ready
    arm = -u.key.touch_point[0]
    heel = u.wippen.centre[0] - u.key.capstan_centre[0]
    leverage = list_readings(take_readings(u, "weigh"))["leverage_6mm"].value or 0.0
    turns = {
        "key": 1 / arm,
        "wippen": u.key.capstan_centre[0] / (arm * heel),
        "hammer": leverage * u.key.front_edge_x / u.key.touch_point[0] / u.hammer.strike_point[0],
        "jack": 0.0,  # does not turn against the wippen before let-off
    }
    return turns[centre] * 1e-3 / GF


@pytest.mark.parametrize("centre", ["key", "wippen", "hammer", "jack"])
def test_friction_is_felt_through_its_lever(centre: str) -> None:
    """feasibility.md of the study before: hammer 3.7-4.1 by lever arms, wippen 0.93, key 0.41 gf per N·mm."""
    found = slopes()[f"friction.{centre}", "friction"]
    assert found.per == "N·mm" and found.reading.unit == "gf"
    assert found.slope == pytest.approx(by_hand(centre), rel=0.06, abs=0.02)


def test_lever_arms_themselves() -> None:
    """The numbers of the hand calculation, from the drawing's measures in mm."""
    assert by_hand("wippen") == pytest.approx(131.02 / (250 * 57.42) / GF * 1e-3 * 1e3, rel=1e-3)
    assert by_hand("key") == pytest.approx(1 / 250 / GF, rel=1e-6)


def test_weight_on_the_front_lowers_the_balance_weight_by_itself() -> None:
    """1 g added to the key's front lowers the balance weight 1 g: technicians' mailing list (weigh-off rule)."""
    assert slopes()["key.front_weight", "balance_weight"].slope == pytest.approx(-1.0, abs=0.02)


def test_hammer_weight_counts_five_times() -> None:
    """0.1 g at the strike is about 0.5 g at the key: technicians' mailing list, 2007 (a figure of one digit)."""
    assert slopes()["hammer.weight", "balance_weight"].slope == pytest.approx(5.0, abs=0.5)


def test_knuckle_farther_out() -> None:
    """Knuckle out 1 mm: balance weight falls by about 3-4 g: technicians' mailing list, 2004.

    On a regulated action, which the list takes for granted: with the screws held, the
    blow falls by 2 mm as well and the weight by 4.6 gf.
    """
    way = choose_adjustment_mode(REGULATED, origin())
    weights = []
    for out in (0.0, 1e-3):
        found = way.read({"hammer.knuckle_set": way.known["hammer.knuckle_set"] + out}, "weigh")
        weights.append((found.taken["balance_weight"].value or 0.0) / GF)
    assert -4.0 <= weights[1] - weights[0] <= -3.0


@cache
def regulated() -> dict[tuple[str, str], Slope]:
    asked = (("targets.blow", "targets.dip", "rails.spread"), ("blow", "dip", "let_off", "aftertouch", "leverage_6mm"))
    return {
        (a.path, name): s
        for a in compute_influences(origin(), *asked, screws=REGULATED)
        for name, s in a.slopes.items()
    }


def test_aftertouch_takes_what_dip_gives_and_a_longer_blow_costs() -> None:
    """Regulated: 1 mm more dip is 1 mm more aftertouch; 1 mm more blow costs 1 mm over the leverage (virtual work)."""
    leverage = list_readings(take_readings(origin().ready, "weigh"))["leverage_6mm"].value or 0.0
    assert regulated()["targets.dip", "aftertouch"].slope == pytest.approx(1.0, abs=0.03)
    assert regulated()["targets.blow", "aftertouch"].slope == pytest.approx(-1 / leverage, rel=0.06)


def test_regulating_takes_up_what_a_part_changes() -> None:
    """With the screws held the spread moves let-off by millimetres; regulated again it does not move it at all."""
    (held,) = compute_influences(origin(), ["rails.spread"], ["let_off"])
    assert abs(held.slopes["let_off"].slope) > 3
    for reading in ("blow", "dip", "let_off"):
        values = [value for _, value in regulated()["rails.spread", reading].values]
        assert all(value == pytest.approx(values[0], abs=0.05) for value in values)


@pytest.mark.parametrize(
    ("path", "reading", "factor"),
    [
        ("friction.hammer", "down_weight", 1e-3),
        ("hammer.weight", "balance_weight", 1e-3),
        ("hammer.knuckle_set", "blow", 1e-3),
        ("settings.let_off_button_height", "let_off", 1e-3),
    ],
)
def test_slopes_agree_with_differences_over_another_step(path: str, reading: str, factor: float) -> None:
    """Loaded from text with a step of a fifth of the tolerance, read by the same bench: two points, no fit."""
    u = origin().ready
    kind = index_fields()[path].kind
    assert kind is not None
    step = 0.2 * find_tolerance(path, u).si
    read = []
    for si in (u.nominal[path] - step, u.nominal[path] + step):
        changed = load(DEMO, {path: f"{si / kind.dimension.factor(kind.unit):.9f} {kind.unit}"})
        read.append(list_readings(take_readings(changed, "weigh"))[reading].value or 0.0)
    unit = {"gf": GF, "mm": 1e-3}[list_readings(take_readings(u, "weigh"))[reading].unit]
    expected = (read[1] - read[0]) / (2 * step) / unit * choose_natural_amount(path, u)[0]
    found = slopes()[path, reading]
    # dip and crown are read on steps of 1.5 um of travel: a few per cent of these differences
    assert found.slope == pytest.approx(expected, rel=0.05)
    assert found.error < 0.05 * abs(found.slope)


def test_what_cannot_answer_does_not() -> None:
    """A backcheck that the tail meets only after the blow weighs nothing on a slow press before let-off."""
    assert not slopes()["settings.backcheck_height", "down_weight"].matters
    assert slopes()["friction.key", "down_weight"].matters


def test_a_screw_with_a_pitch_is_told_by_the_turn() -> None:
    """mm per turn = mm per mm x pitch."""
    u = origin().ready
    pitched = replace(u, nominal={**u.nominal, "settings.button_pitch": 0.9e-3})
    assert choose_natural_amount("settings.let_off_button_height", pitched) == (0.9e-3, "turn")
    per_mm = replace(u, nominal={p: si for p, si in u.nominal.items() if not p.endswith("_pitch")})
    assert choose_natural_amount("settings.let_off_button_height", per_mm) == (1e-3, "mm")


def test_a_pitch_is_no_input() -> None:
    pitched = BaseScenario.of(DEMO, {"settings.button_pitch": "0.9 mm"})
    with pytest.raises(InputError, match="by the turn"):
        compute_influences(pitched, ["settings.button_pitch"])
    found = compute_influences(pitched, ["settings.*button*"], ["let_off"])
    assert [(a.path, a.slopes["let_off"].per) for a in found] == [("settings.let_off_button_height", "turn")]


@cache
def gaps() -> BaseScenario:
    """Button, drop screw and cushion given as gaps, and targets on top of them."""
    wishes = {"targets.blow": "44 mm", "targets.dip": "10.2 mm", "targets.let_off": "1.6 mm", "targets.drop": "2 mm"}
    return BaseScenario.of(SCENARIOS / "mixed-parts.toml", wishes)


def test_a_screw_given_as_a_gap_stays_where_it_is() -> None:
    """Left as a gap, the button would be turned along with the jack that a longer wippen arm moves."""
    plain = BaseScenario.of(SCENARIOS / "mixed-parts.toml")
    held = plain.by_height
    longer = {"wippen.centre_to_jack": plain.ready.nominal["wippen.centre_to_jack"] + 0.2e-3}
    for part in ("let_off_button_plane_y", "drop_screw_tip", "rest_cushion_plane_y"):
        before, after, along = (getattr(u.rails, part) for u in (plain.ready, held.held(longer), plain.held(longer)))
        assert after == pytest.approx(before, abs=1e-9)
        if part == "let_off_button_plane_y":
            assert abs(along - before) > 1e-6


def test_a_screw_that_the_set_up_found_can_be_asked_about() -> None:
    (answers,) = compute_influences(gaps(), ["settings.let_off_button"], ["let_off"])
    assert answers.path == "settings.let_off_button_height"
    assert answers.slopes["let_off"].slope == pytest.approx(-7.0, abs=1.0)


def test_a_curve_that_bends_comes_as_a_curve() -> None:
    """The lever lifts nothing below a threshold of its spring (trade: "does not lift"): no slope tells that."""
    (answers,) = compute_influences(origin(), ["springs.repetition"], ["spring_rise"])
    found = answers.slopes["spring_rise"]
    assert found.curved and len(found.values) == 9
    rises = [value or 0.0 for _, value in found.values]
    assert rises[0] < 0.2 and all(a <= b + 0.02 for a, b in zip(rises, rises[1:], strict=False))
    assert rises[-1] > 5


def test_screws_are_held_where_the_set_up_left_them() -> None:
    """A spring rise that is wished for answers to the spring all the same, and nothing else is turned meanwhile."""
    wishes = origin(WISHES)
    ready = wishes.ready
    assert ready.springs.repetition != wishes.loaded.springs.repetition
    assert carry_over_changes(ready, wishes.loaded, wishes.loaded) == ready
    stiff = wishes.held({"springs.repetition": ready.nominal["springs.repetition"] + 2e-3})
    assert stiff.springs.repetition == pytest.approx(ready.springs.repetition + 2e-3, abs=1e-12)
    assert stiff.key == ready.key and stiff.rails == ready.rails
    assert not stiff.targets


def lifts_and_kicks(spring: float, friction: float) -> tuple[float, bool]:
    """Rise (m) and kick, by the bench from a scenario typed out (N·m)."""
    changes = {"springs.repetition": f"{spring * 1e3:.6f} N·mm", "friction.lever": f"{friction * 1e3:.6f} N·mm"}
    rest = settle_at_rest(load(DEMO, changes))
    reading, run = strike.play_touch(rest, find_touch(MODERATE))
    found = release.measure_spring_rise(rest, run, reading.caught)
    return found.height or 0.0, found.leaves_lever


def test_window_of_the_spring_moves_with_the_lever_centre() -> None:
    """Feasibility study: about 1 N·mm per N·mm; asked for: 1.0 +- 0.2.  The edges are then tried by themselves."""
    found = spring_study.study_spring(origin(), shares=(), frictions=(1e-3, 2e-3, 3e-3))
    assert any(window.friction == found.own_friction for window in found.windows), "the scenario's own is among them"
    assert found.shift == pytest.approx(1.0, abs=0.2)
    for window in found.windows:
        assert window.lifts_from is not None and window.kicks_from is not None and window.width is not None
        assert window.width > 1e-3, "a firm rise without a kick can be set"
        off = 0.1e-3
        assert lifts_and_kicks(window.lifts_from - off, window.friction)[0] < spring_study.LEAST_RISE
        assert lifts_and_kicks(window.lifts_from + off, window.friction)[0] >= spring_study.LEAST_RISE
        assert not lifts_and_kicks(window.kicks_from - off, window.friction)[1]
        assert lifts_and_kicks(window.kicks_from + off, window.friction)[1]


def test_spring_study_reads_what_the_trade_watches() -> None:
    """faults.md: a weak spring does not lift and misses strokes; a strong one kicks."""
    found = spring_study.study_spring(origin(), shares=(0.88, 1.2), frictions=())
    weak, strong = found.springs
    shares = [spring.readings["home_at_6"].value or 0.0 for spring in (weak, strong)]
    assert (weak.readings["spring_rise"].value or 0.0) < spring_study.LEAST_RISE and not weak.kicks
    assert strong.kicks and (strong.readings["spring_rise"].value or 0.0) > 5e-3
    assert shares[0] + 0.2 < shares[1]
    assert all(caught for _, caught in strong.caught)
    assert found.shift is None


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(argv)
    return code, *capsys.readouterr()


def test_command_prints_slopes_with_their_units(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    asked = ("influence", str(DEMO), "--only", "friction.key", "--readings", "down_weight", "blow")
    picture = tmp_path / "slopes.svg"
    code, out, _ = run(capsys, *asked, "--figure", str(picture))
    assert code == ExitCode.FINE
    assert "gf per N·mm" in out and "friction.key, N·mm" in out and picture.is_file()
    _, out, _ = run(capsys, *asked, "--json")
    found = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))
    down = next(i for i in found["influences"] if i["reading"] == "down_weight_gf")
    assert down["slope"] == pytest.approx(1 / 250 / GF, rel=0.01)


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (("--only", "friction.hamer"), "did you mean friction.hammer"),
        (("--readings", "downweight"), "did you mean down_weight"),
        (("--global", "--samples", "100"), "power of two"),
        (("--samples", "64"), "--global"),
        (("--spring", "--only", "friction.key"), "--spring"),
        (("--spring", "--screws", "held"), "holds the screws"),
        (("--only", "targets.dip"), "--screws regulated"),
        (("--only", "settings.punching", "--screws", "regulated"), "targets.dip"),
    ],
)
def test_command_refuses_by_name(capsys: pytest.CaptureFixture[str], argv: tuple[str, ...], told: str) -> None:
    code, out, err = run(capsys, "influence", str(DEMO), *argv)
    assert code == ExitCode.BAD_INPUT and out == ""
    assert told in err


def test_unknown_input_is_an_input_error() -> None:
    with pytest.raises(InputError, match="no such input"):
        compute_influences(origin(), ["friction.nothing_of_the_kind"])
