"""Hidden-fault practice: exercises drawn and written, attempts as lists of moves, costs, marks, and the command."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.bench.outcomes import Outcome
from sim.diagnosis.bench_tests import list_bench_tests
from sim.diagnosis.faults import load_fault_pairs, load_faults
from sim.diagnosis.hidden_faults import count_accuracies_apart
from sim.diagnosis.next_test import TAKE_OUT_SECONDS
from sim.errors import InputError
from sim.regulation.duration_text import format_bench_time
from sim.teaching import complaint, exercise_files
from sim.teaching.adjustments import load_adjustments
from sim.teaching.exercise import (
    FELT_BY_OWNER,
    JUMPING_READINGS,
    LEVELS,
    USUAL_SCENARIO,
    Exercise,
    draw_exercise,
    list_fault_pairs,
    list_hidden_choices,
    load_sound_unit,
    prepare_bench,
)
from sim.teaching.mark import compute_allowed_seconds, mark_attempt
from sim.teaching.practice import Attempt, make_attempt, make_repair, take_reading
from tests.exercise_codes import parse_code
from tests.tiers import try_each

TESTS = list_bench_tests()
FIRST = [n for n, t in TESTS.items() if t.first]


@pytest.mark.parametrize("code", ["1-1", "2-7", "3-12", "2-7-tight-key", "1-3@treble", "1-4-damper-early@damped"])
def test_a_code_makes_the_same_exercise(code: str) -> None:
    e = parse_code(code)
    assert e.code == code and e.count == LEVELS[e.level].count
    assert parse_code(e.code) == e


@pytest.mark.parametrize(("code", "says"), [
    ("4-1", "choose 1, 2 or 3"),
    ("1-1-tihgt-key", "did you mean tight-key?"),
    ("1-1@nowhere", "concert-grand-natural"),
    ("1-1-damper-late", "damped"),
])  # fmt: skip
def test_a_code_that_makes_none_is_refused(code: str, says: str) -> None:
    with pytest.raises(InputError, match=says.replace("?", r"\?")):
        parse_code(code)


def test_the_same_exercise_is_drawn_again_and_another_number_makes_another() -> None:
    first = prepare_bench(parse_code("2-3")).hidden
    prepare_bench.cache_clear()
    assert prepare_bench(parse_code("2-3")).hidden == first
    assert prepare_bench(parse_code("2-4")).hidden.ill != first.ill


def test_levels_are_what_they_say() -> None:
    one, two, three = (prepare_bench(draw_exercise(n, 5)) for n in LEVELS)
    assert one.well == one.sound and one.hidden.ill[0][1] >= 0.5 and len(one.hidden.ill) == 1
    assert two.well != two.sound and len(two.hidden.ill) == 1
    assert three.well != three.sound and len(three.hidden.ill) == 2
    for made in (one, two, three):
        assert made.hidden.found is not None
        out = max(
            count_accuracies_apart(TESTS[n], made.before, made.hidden.found) for n in FIRST if n not in JUMPING_READINGS
        )
        assert out >= FELT_BY_OWNER


def test_two_faults_are_a_pair_of_the_catalogue_or_of_two_parts() -> None:
    unit = load_sound_unit(USUAL_SCENARIO)[0]
    paired = {frozenset(p.faults) for p in load_fault_pairs()}
    with_one = {n for p in paired for n in p}
    for names, prior in list_hidden_choices(Exercise(3), unit):
        one, two = names
        assert prior > 0 and load_faults()[one].at != load_faults()[two].at
        assert frozenset(names) in paired or one not in with_one
    named = list(list_hidden_choices(Exercise(3, fault="tight-key"), unit))
    assert [set(names) for names, _ in named] == [{"tight-hammer-centre", "tight-key"}]
    assert not {frozenset(c) for c in list_fault_pairs(unit)} & paired


def test_moves_written_make_the_same_attempt() -> None:
    a = make_attempt(parse_code("1-1"), ["take down_weight", "take jack_address", "mend screw.let_off=0.35 mm",
                                 "take let_off", "mend springs.repetition=33 N·mm", "cause weak-spring"])  # fmt: skip
    again = make_attempt(a.exercise, [str(move) for move in a.moves])
    assert again == a and again.lines == a.lines
    assert a.repairs == (("screw.let_off", pytest.approx(0.35e-3)), ("springs.repetition", pytest.approx(33e-3)))
    assert a.named == ("weak-spring",)


def test_every_reading_costs_and_so_does_taking_the_action_out() -> None:
    moves = ["take down_weight", "take jack_address", "take lever_height", "take let_off", "take spread"]
    a = make_attempt(parse_code("1-1"), [*moves, "mend screw.drop=0.5 mm", "take jack_address", "cause tight-key"])
    own = {n: TESTS[n].seconds for n in TESTS}
    assert [line.seconds for line in a.lines] == [
        own["down_weight"],
        own["jack_address"] + TAKE_OUT_SECONDS,
        own["lever_height"],
        own["let_off"],
        own["spread"] + TAKE_OUT_SECONDS,
        load_adjustments()["screw.drop"].seconds,
        own["jack_address"] + TAKE_OUT_SECONDS,
        0.0,
    ]
    assert a.seconds == sum(line.seconds for line in a.lines) == a.lines[-1].so_far
    assert a.reading_seconds == a.seconds - load_adjustments()["screw.drop"].seconds


def test_a_reading_is_the_same_whenever_it_is_taken_first_and_another_the_second_time() -> None:
    one = make_attempt(parse_code("1-1"), ["take down_weight", "take drop"])
    two = make_attempt(parse_code("1-1"), ["take drop", "take down_weight"])
    assert one.taken() == two.taken()
    values = [line.taken.value for line in make_attempt(one.exercise, ["take drop"] * 6).lines if line.taken]
    assert len({*values}) > 1 and values[0] == one.taken()["drop"].value
    mean = make_attempt(one.exercise, ["take drop"] * 4)
    assert mean.taken()["drop"].value == pytest.approx(sum(v or 0.0 for v in values[:4]) / 4)
    assert mean.evidence().rough["drop"] == 0.5


def test_readings_are_noised_as_a_bench_reads_and_of_the_unit_as_it_is() -> None:
    e = parse_code("1-1")
    off = []
    for name in ("down_weight", "up_weight", "let_off", "aftertouch", "dip", "blow"):
        a = make_attempt(e, [take_reading(name)] * 20)
        found = a.found
        assert found is not None and found.numbers[name] is not None
        off += [(line.taken.value - found.numbers[name]) / TESTS[name].si for line in a.lines]  # type: ignore[operator, union-attr]
    assert abs(sum(off) / len(off)) < 0.2 and 0.4 < (sum(x * x for x in off) / len(off)) ** 0.5 < 0.7


def test_a_mend_changes_the_unit_and_what_is_read_after_it() -> None:
    a = make_attempt(parse_code("1-1"), ["take let_off", "mend screw.let_off=0.8 mm", "take let_off"])
    before, after = (a.taken(stage)["let_off"].value for stage in (0, 1))
    assert before is not None and after is not None and after - before == pytest.approx(0.8e-3, abs=0.3e-3)
    assert a.evidence(0) != a.evidence() and a.stage == 1


def test_what_cannot_be_read_says_so_costs_and_is_no_evidence() -> None:
    e = replace(parse_code("1-1"), ill=(("rail-forward", 0.9),))
    a = make_attempt(e, ["take let_off"])
    (line,) = a.lines
    assert line.taken is not None and line.taken.value is None and line.seconds == TESTS["let_off"].seconds
    assert "cannot be taken" in line.taken.format_value() and line.taken.seen is not None
    assert a.evidence().numbers == {} and a.evidence().words["slow_press"] != Outcome.PLAYS


@pytest.mark.parametrize(("move", "says"), [
    ("take down_wieght", "did you mean down_weight"),
    ("take damper_start", "take it out"),
    ("cause weak-sprint", "did you mean weak-spring"),
    ("mend screw.let_of=1 mm", "did you mean screw.let_off"),
    ("mend screw.let_off=9 mm", "-3.00 mm to 3.00 mm"),
    ("mend screw.let_off=9", "44.5 mm"),
    ("mend screw.damper_start=1 mm", "screw"),
    ("wish for rain", "take NAME"),
    ("take", "take NAME"),
])  # fmt: skip
def test_a_move_that_cannot_be_is_refused(move: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        make_attempt(parse_code("1-1"), [move])


def right_mends(e: Exercise) -> Attempt:
    """What was hidden taken back, and named."""
    made, a = prepare_bench(e), Attempt(e)
    for name, severity in made.hidden.ill:
        hand, fault = load_adjustments()[load_faults()[name].at], load_faults()[name]
        was = -fault.value(severity) if hand.relative else hand.now(made.well)
        a = a.then(make_repair(hand.at, was))
    return make_attempt(e, [*a.moves, *(f"cause {n}" for n in made.hidden.names)])


@try_each("code", ["1-1", "2-3", "2-5-rail-back", "3-5", "1-2-tight-wippen-centre"])
def test_what_was_hidden_named_and_taken_back_passes(code: str) -> None:
    mark = mark_attempt(right_mends(parse_code(code)))
    assert mark.passed and all(row.passed for row in mark.rows) and mark.path is None
    assert mark.allowed == compute_allowed_seconds(mark.exercise) and all(b.passed for b in mark.backs)


def test_each_thing_is_marked_by_itself() -> None:
    e = parse_code("1-1")
    good = right_mends(e)
    wrong = make_attempt(e, [*good.moves[:-1], "cause tight-key"])
    assert [r.what for r in mark_attempt(wrong).rows if not r.passed] == ["cause"]
    both = make_attempt(e, [*good.moves, "cause tight-key"])
    assert [r.what for r in mark_attempt(both).rows if not r.passed] == ["cause"]  # naming many is not knowing
    dear = make_attempt(e, [*["take pinning_jack", "take let_off"] * 8, *good.moves])
    assert [r.what for r in mark_attempt(dear).rows if not r.passed] == ["cost"]
    undone = make_attempt(e, [*good.moves, "mend screw.drop=1.5 mm"])
    assert [r.what for r in mark_attempt(undone).rows if not r.passed] == ["readings"]
    blocked = make_attempt(e, [*good.moves, "mend screw.let_off=-2.5 mm"])
    assert {r.what for r in mark_attempt(blocked).rows if not r.passed} == {"plays", "readings"}


def test_half_of_two_faults_is_told_as_half() -> None:
    good = right_mends(parse_code("3-5"))
    half = make_attempt(good.exercise, good.moves[:-1])
    (row,) = [r for r in mark_attempt(half).rows if r.what == "cause"]
    assert not row.passed and "was right" in row.words


def test_what_is_allowed_is_a_rule_of_costs_alone() -> None:
    first, dearest = sum(TESTS[n].seconds for n in FIRST), max(t.seconds for t in TESTS.values())
    everything = sum(t.seconds for t in TESTS.values()) + TAKE_OUT_SECONDS
    for n, level in LEVELS.items():
        e = Exercise(n)
        assert e.reading_seconds == (1 + level.count) * (first + TAKE_OUT_SECONDS) + level.count * level.dear * dearest
        assert e.reading_seconds < everything + first, "reading everything there is is not to be allowed"
    e = parse_code("1-1")
    (name,) = prepare_bench(e).hidden.names
    assert compute_allowed_seconds(e) == e.reading_seconds + 2 * load_adjustments()[load_faults()[name].at].seconds
    assert compute_allowed_seconds(replace(e, allowed=600.0)) == 600.0


def test_owner_says_what_is_so() -> None:
    heavy = Exercise(1, ill=(("tight-key", 0.9),))
    assert complaint.choose_complaint(heavy) == "It is heavier than its neighbours."
    assert complaint.choose_complaint(Exercise(1, ill=(("let-off-close", 1.0),))) != complaint.choose_complaint(heavy)
    assert complaint.choose_complaint(replace(heavy, owner="Do something.")) == "Do something."


def test_every_fault_has_a_hand() -> None:
    assert all(fault.at in load_adjustments() for fault in load_faults().values())


WRITTEN = 'title = "Mine"\nlevel = 3\nseed = 5\n[[fault]]\nname = "tight-key"\nseverity = 0.5\n'


def test_a_teacher_writes_one_in_a_few_lines() -> None:
    e = exercise_files.parse_exercise(WRITTEN, "mine.toml")
    assert (e.level, e.seed, e.ill, e.title, e.count) == (3, 5, (("tight-key", 0.5),), "Mine", 1)
    assert prepare_bench(e).hidden.ill == e.ill and e.code == ""
    assert exercise_files.parse_exercise("level = 2\nseed = 7\n", "x.toml").code == "2-7"
    assert exercise_files.parse_exercise(exercise_files.format_blank_exercise(), "blank.toml").ill
    assert exercise_files.parse_exercise("allowed_minutes = 30\n", "x.toml").allowed == 1800.0


@try_each("name", exercise_files.list_exercises())
def test_shipped_exercises_can_be_set_and_say_that_they_are_invented(name: str) -> None:
    e = exercise_files.load_exercise(name)
    assert mark_attempt(right_mends(e)).passed
    assert exercise_files.list_exercises()[name].read_text(encoding="utf-8").startswith("# Invented")


@pytest.mark.parametrize(("text", "field", "says"), [
    ("levle = 1", "levle", "did you mean level?"),
    ("level = 4", "level", "1 to 3"),
    ('level = "2"', "level", "a whole number"),
    ("level = true", "level", "a whole number"),
    ("seed = -1", "seed", "0 to 999999999"),
    ("seed = 1.5", "seed", "a whole number"),
    ('scenario = "../../etc/passwd"', "scenario", "concert-grand-natural"),
    ("scenario = 3", "scenario", "concert-grand-natural"),
    ('title = "a\\u001b[2Jb"', "title", "one line"),
    (f'owner = "{"x" * 401}"', "owner", "400 characters"),
    ("allowed_minutes = 0", "allowed_minutes", "1 to 600"),
    ("allowed_minutes = nan", "allowed_minutes", "1 to 600"),
    ('[fault]\nname = "tight-key"', "fault", "double brackets"),
    ('[[fault]]\nname = "tihgt-key"', "fault", "did you mean tight-key?"),
    ('[[fault]]\nname = "tight-key"\nseverity = 1.2', "fault", "60.00 N·mm"),
    ('[[fault]]\nname = "tight-key"\nsize = 1', "fault", "severity"),
    ("[[fault]]\nseverity = 1", "fault", "name a fault"),
    ('[[fault]]\nname = "damper-late"', "fault", "damped"),
    ('[[fault]]\nname = "weak-spring"\n[[fault]]\nname = "strong-spring"', "fault", "two different parts"),
    ('[[fault]]\nname = "weak-spring"\n[[fault]]\nname = "weak-spring"', "fault", "each once"),
])  # fmt: skip
def test_what_is_wrong_in_one_is_named_with_what_may_stand_there(text: str, field: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        exercise_files.parse_exercise(text, "mine.toml")
    assert any(f.field == field and says in f"{f.allowed} {f.remedy}" for f in refused.value.faults), refused.value


def test_everything_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(InputError) as refused:
        exercise_files.parse_exercise('level = 9\nseed = -1\ntitel = ""\n[[fault]]\nname = "x"\n', "mine.toml")
    assert len(refused.value.faults) == 4 and refused.value.faults[1].line is not None


def test_a_scenario_that_does_not_play_is_no_ground_for_practice() -> None:
    with pytest.raises(InputError, match="a unit that plays"):
        prepare_bench(draw_exercise(1, 1, "mixed-parts"))


Told = Callable[[], str]


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Told:
    return lambda: capsys.readouterr().out


def test_command_tells_readings_costs_and_causes_and_hides_the_rest(told: Told) -> None:
    assert main(["practice", "--level", "2", "--seed", "7", "--take", "down_weight", "let_off"]) == 0
    text = told()
    a = make_attempt(parse_code("2-7"), ["take down_weight", "take let_off"])
    for line in a.lines:
        assert line.taken is not None and line.taken.format_value() in text
    assert all(name in text for name in a.tests) and all(at in text for at in a.adjustments)
    assert all(title not in text for title in mark_attempt(a).truth)


def test_command_makes_moves_in_the_order_typed_and_marks(told: Told) -> None:
    typed = ["--mend", "springs.repetition=33 N·mm", "--take", "spring_rise", "--mend", "screw.drop=0.1 mm"]
    assert main(["practice", *typed, "--take", "drop", "--cause", "weak-spring", "--no-path", "--json"]) == 0
    found = json.loads(told())
    same = make_attempt(
        parse_code("1-1"),
        [
            "mend springs.repetition=33 N·mm",
            "take spring_rise",
            "mend screw.drop=0.1 mm",
            "take drop",
            "cause weak-spring",
        ],
    )
    assert found["moves"] == [str(m) for m in same.moves] and found["seconds"] == same.seconds
    mark = mark_attempt(same)
    assert found["mark"]["passed"] == mark.passed and found["mark"]["hidden"] == list(mark.truth)


def test_json_holds_nothing_of_what_is_hidden_before_it_is_handed_in(told: Told) -> None:
    assert main(["practice", "--seed", "7", "--json"]) == 0
    found = json.loads(told())
    assert (
        "mark" not in found and "hidden" not in found and set(found["causes"]) == set(Attempt(parse_code("1-7")).causes)
    )


def test_command_prints_an_exercise_to_edit_and_takes_one(told: Told, tmp_path: Path) -> None:
    assert main(["practice", "--blank"]) == 0
    file = tmp_path / "mine.toml"
    file.write_text(told(), encoding="utf-8")
    assert main(["practice", "--exercise", str(file), "--take", "down_weight"]) == 0
    assert "My exercise" in told()
    assert main(["practice", "--exercise", "first-one"]) == 0
    assert exercise_files.load_exercise("first-one").owner in told().replace("\n", " ")


@pytest.mark.parametrize(("typed", "says"), [
    (["--level", "7"], "choose 1, 2 or 3"),
    (["--fault", "tigth-key"], "did you mean tight-key?"),
    (["--scenario", "nowhere"], "concert-grand-natural"),
    (["--take", "nothing"], "down_weight"),
    (["--mend", "screw.drop"], "mend AT=VALUE"),
    (["--exercise", "first-one", "--level", "2"], "nothing beside --exercise"),
    (["--exercise", "nowhere.toml"], "missing"),
])  # fmt: skip
def test_command_refuses_in_words(typed: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["practice", *typed]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 min"), (40, "40 s"), (94.4, "94 s"), (95, "2 min"), (240, "4 min"), (5400, "90 min")]
)
def test_a_time_at_the_bench_in_words(seconds: float, words: str) -> None:
    assert format_bench_time(seconds) == words
