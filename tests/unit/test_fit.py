"""Do parts go together: clashes told with the numbers that were put in, and the search of a shop's parts."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.cli.command import ExitCode
from sim.errors import InputError
from sim.parts import search
from sim.parts.fit import PartsFit, fit_parts
from sim.parts.geometry import check_lines
from sim.parts.readings import PartsReadings, read_parts
from sim.scenario import composite
from sim.scenario.composite import PARTS, Base, Source
from sim.unit.model import GRAVITY

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenarios" / "concert-grand-natural.toml"
SHOP = ROOT / "scenarios" / "parts"
GF = 1e-3 * GRAVITY


@cache
def base() -> Base:
    return composite.load_base(DEMO)


def part(folder: Path, section: str, **measures: str) -> Source:
    """The demo's part with other measures, as a file of its own."""
    lines = "\n".join(f'{name} = "{value}"' for name, value in measures.items())
    path = folder / f"{section}-{len(list(folder.glob('*.toml')))}.toml"
    demo = folder / DEMO.name
    demo.write_bytes(DEMO.read_bytes())
    path.write_text(f'based_on = "{DEMO.name}"\nname = "other {section}"\n[{section}]\n{lines}\n', encoding="utf-8")
    return composite.load_source(path)


def named(found: PartsFit) -> dict[str, str]:
    return {c.name: f"{c.found}; {c.change}" for c in found.clashes}


def test_parts_of_the_base_itself_go_together_and_come_to_its_numbers() -> None:
    same = composite.load_source(DEMO)
    made = composite.compose_unit(base(), dict.fromkeys(PARTS, same)).build()
    assert made.key == base().unit.key and made.wippen == base().unit.wippen and made.hammer == base().unit.hammer
    found = fit_parts(base(), {"hammer": same})
    assert found.together and not found.clashes and found.readings is not None
    assert found.readings.settings.blow == pytest.approx(44.5e-3, abs=0.05e-3)
    assert found.readings.capstan_off_line == pytest.approx(0, abs=0.3e-3), "feasibility: within 0.25 mm"
    assert found.readings.jack_off_line == pytest.approx(0, abs=0.3e-3)
    assert found.readings.tail_over_check == pytest.approx(2.06e-3, abs=0.3e-3), "feasibility: 2.06 mm at let-off"


def test_screws_keep_the_bases_gaps_on_other_parts(tmp_path: Path) -> None:
    """A wippen with its heel 2 mm lower: the capstan goes 2 mm down, button and drop screw keep their gaps."""
    low = part(tmp_path, "wippen", heel_drop="23.8 mm", centre_to_heel="62.15 mm", heel_to_jack="38.7 mm")
    made = composite.compose_unit(base(), {"wippen": low})
    assert made.measures["settings.capstan_height"] == pytest.approx(41.14e-3, abs=1e-6)
    again = Base(base().source, made.build(), made.measures)
    for name, gap in base().gaps.items():
        assert again.gaps[name] == pytest.approx(gap, abs=1e-6)


def test_capstan_line_clash_has_the_number_that_was_put_in(tmp_path: Path) -> None:
    """Heel arm 57.42 mm at the base; a heel at 65.47 mm (69 and 21.8 mm, Pythagoras) is 8.0 mm off the capstan."""
    far = part(tmp_path, "wippen", centre_to_heel="69 mm", heel_to_jack="34 mm")
    found = fit_parts(base(), {"wippen": far})
    clash = next(c for c in found.clashes if c.name == "capstan_line")
    assert not found.together and clash.grave
    assert "8.0 mm behind" in clash.found and "8.0 mm forward" in clash.change and "57.4 mm" in clash.change
    near = part(tmp_path, "wippen", centre_to_heel="64.3 mm", heel_to_jack="36 mm")
    warned = next(c for c in fit_parts(base(), {"wippen": near}).clashes if c.name == "capstan_line")
    assert not warned.grave, "3 mm off its middle the heel is still borne"


def test_a_sharps_key_is_told_by_how_much_it_misses() -> None:
    """Its pin stands 15 mm farther back (the scenario says so): no unit, and the number all the same."""
    found = fit_parts(base(), {"key": composite.load_source(ROOT / "scenarios" / "concert-grand-sharp.toml")})
    assert found.unit is None and not found.together
    assert "15.0 mm in front" in named(found)["capstan_line"]


@pytest.mark.parametrize(
    ("section", "measures", "clash", "words"),
    [
        ("jack", {"length": "60 mm", "toe_to_top": "62.6 mm"}, "stack_height", "a jack of 51.0 mm"),
        ("lever", {"front_reach": "35 mm"}, "lever.front_reach", "stands off the lever"),
        ("hammer", {"bore": "56 mm"}, "bore", "bore at 50.0 mm"),
        ("hammer", {"tail_length": "36 mm"}, "tail", "rubs on the check"),
        ("hammer", {"weight": "12.5 g", "head_mass": "10.4 g"}, "weight", "high"),
        ("key", {"front_weight": "-10 g"}, "weight", "more lead"),
    ],
)
def test_clashes_are_named(tmp_path: Path, section: str, measures: dict[str, str], clash: str, words: str) -> None:
    found = fit_parts(base(), {section: part(tmp_path, section, **measures)})
    assert clash in named(found), named(found)
    assert words in named(found)[clash]


def test_spread_and_heel_arm_by_hand() -> None:
    """57.42 mm of heel arm goes with 112.6 mm of spread (0.51): 114.4 mm is 1.8 mm long, 117 mm beyond use."""
    measures = dict(base().measures)
    assert check_lines(measures) == ()
    (long,) = check_lines(measures | {"rails.spread": 114.4e-3})
    assert long.name == "spread" and not long.grave and "1.8 mm less" in long.change
    (beyond,) = check_lines(measures | {"rails.spread": 117e-3})
    assert beyond.grave and "58.3" not in beyond.change and "59.7 mm" in beyond.change


def test_flange_height_against_the_rail(tmp_path: Path) -> None:
    """A rail and flange that make the base's centre; a flange 1.5 mm higher lifts it by as much."""
    rail = tmp_path / "base.toml"
    text = DEMO.read_text(encoding="utf-8").replace(
        'wippen_centre_height = "106.34 mm"', 'wippen_rail_height = "84.34 mm"'
    )
    rail.write_text(text.replace("[wippen]", '[wippen]\nflange_height = "22 mm"'), encoding="utf-8")
    on = composite.load_base(rail)
    assert on.unit.wippen.centre[1] == pytest.approx(base().unit.wippen.centre[1], abs=1e-9)
    high = tmp_path / "high.toml"
    high.write_text('based_on = "base.toml"\n[wippen]\nflange_height = "23.5 mm"\n', encoding="utf-8")
    found = fit_parts(on, {"wippen": composite.load_source(high)})
    assert "1.5 mm higher" in named(found)["flange_height"] and "22.0 mm" in named(found)["flange_height"]
    unknown = fit_parts(base(), {"wippen": composite.load_source(high)})
    assert "flange_height" not in named(unknown) and any("cannot be compared" in r for r in unknown.remarks)


def test_a_shorter_knuckle_wants_less_dip() -> None:
    """15.5 mm on a 17 mm stack: 0.390 against 0.420 in (technicians' list, 1998), 0.76 mm less dip."""
    found = fit_parts(
        base(), {"hammer": composite.load_source(SHOP / "shanks-15-5.toml")}, wishes={"aftertouch": 1.1e-3}
    )
    assert found.readings is not None and not found.together
    assert "aftertouch" in named(found)
    dip = next(r for r in found.rooms if r.move == "dip")
    assert dip.confirmed and dip.by == pytest.approx(-0.76e-3, abs=0.15e-3)
    assert any(r.move == "knuckle_out" and r.by == pytest.approx(1.5e-3, abs=0.4e-3) for r in found.rooms)


def test_search_finds_what_was_hidden_and_tells_why_the_rest_is_refused(tmp_path: Path) -> None:
    """The base's own hammer with one other head is what the wishes describe: it comes out first."""
    other = part(tmp_path, "hammer", weight="10.2 g", head_mass="8.14 g")
    part(tmp_path, "wippen", centre_to_heel="69 mm", heel_to_jack="34 mm")
    (tmp_path / DEMO.name).write_bytes(DEMO.read_bytes())
    wanted = fit_parts(base(), {"hammer": other}).readings
    assert isinstance(wanted, PartsReadings)
    wishes = {"balance_weight": wanted.touch.balance_weight or 0.0, "inertia": wanted.inertia or 0.0}
    told: list[float] = []
    found = search.search_combinations(base(), tmp_path, wishes=wishes, progress=lambda share, what: told.append(share))
    assert found.combinations == 4
    assert found.found[0].parts["hammer"] == "other hammer" and found.found[0].parts["wippen"] == base().source.name
    assert {r.stage for r in found.refused} == {"lines", "engine"}
    assert sum(found.reasons.values()) == len(found.refused) == 3
    assert all(r.why for r in found.refused) and told == sorted(told) and max(told) <= 1


def test_search_sets_up_no_more_than_asked_and_lists_bad_files(tmp_path: Path) -> None:
    part(tmp_path, "hammer", weight="9.4 g")
    part(tmp_path, "hammer", weight="9.7 g")
    (tmp_path / "broken.toml").write_text("[hammer\n", encoding="utf-8")
    (tmp_path / "wild.toml").write_text('[hammer]\nbore = "5 m"\n', encoding="utf-8")
    found = search.search_combinations(base(), tmp_path, most=1)
    assert len(found.found) == 1 and found.not_played == 2
    assert {Path(f.file).name for f in found.bad_files} == {"broken.toml", "wild.toml"}


def test_command_tells_and_refuses(capsys: pytest.CaptureFixture[str]) -> None:
    shanks = str(SHOP / "wippens-other-stack.toml")
    assert main(["fit", "--wippen", shanks]) == ExitCode.CANNOT_PLAY
    out = capsys.readouterr().out
    assert "heel against capstan line" in out and "key weights are lead" in out
    assert main(["fit", "--hammer", str(SHOP / "heads-light.toml"), "--json"]) == ExitCode.FINE
    body = json.loads(capsys.readouterr().out)
    assert body["together"] and 300 < body["readings"]["inertia_g"] < 400
    assert main(["fit"]) == ExitCode.BAD_INPUT
    assert main(["fit", "--hammer", "no-such-file"]) == ExitCode.BAD_INPUT
    assert main(["fit", "--search", "no-such-folder"]) == ExitCode.BAD_INPUT
    err = capsys.readouterr().err
    assert "--key, --wippen" in err and "no-such-file" in err and "a folder of scenario files" in err
    assert main(["fit", "--hammer", shanks, "--target", "blow=-3mm", "bore=5mm", "inertia=9gf"]) == ExitCode.BAD_INPUT
    err = capsys.readouterr().err
    assert "3 faults" in err and "bore" in err


def test_raw_coordinates_are_no_parts(tmp_path: Path) -> None:
    path = tmp_path / "raw.toml"
    path.write_text('name = "x"\nkey_number = 40\n[coordinates.jack]\ntoe_radius = "3 mm"\n', encoding="utf-8")
    with pytest.raises(InputError, match="parts are exchanged by their measures"):
        composite.load_source(path)


def test_heavier_hammer_by_the_trades_rule() -> None:
    """0.1 g of hammer weighs about 0.5 g at the key (technicians' list, 2007); light heads are 0.36 g lighter."""
    light = fit_parts(base(), {"hammer": composite.load_source(SHOP / "heads-light.toml")}).readings
    own = read_parts(fit_parts(base(), {"hammer": composite.load_source(DEMO)}).unit or base().unit)
    assert light is not None and light.touch.balance_weight is not None and own.touch.balance_weight is not None
    lighter = (own.touch.balance_weight - light.touch.balance_weight) / GF
    assert lighter == pytest.approx(0.36 * 5.2, abs=0.5)
