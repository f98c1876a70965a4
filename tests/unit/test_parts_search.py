"""A shop's own parts searched: what is a part, what a wish refuses, and stopping; parts of a part exchanged."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from sim.__main__ import main
from sim.bench import slow_press
from sim.bench.inertia import read_inertia
from sim.bench.rest_pose import settle_at_rest
from sim.cli.command import ExitCode
from sim.errors import InputError
from sim.parts import search
from sim.parts.fit import fit_parts
from sim.scenario import composite
from sim.scenario.composite import Base, Source
from sim.unit.model import GRAVITY

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenarios" / "concert-grand-natural.toml"
SHOP = ROOT / "scenarios" / "parts"
GF = 1e-3 * GRAVITY


@cache
def base() -> Base:
    return composite.load_base(DEMO)


def file(folder: Path, name: str, text: str, *, on_demo: bool = True) -> Source:
    path = folder / f"{name}.toml"
    demo = folder / DEMO.name
    demo.write_bytes(DEMO.read_bytes())
    head = f'based_on = "{DEMO.name}"\n' if on_demo else "key_number = 40\n"
    path.write_text(f'{head}name = "{name}"\n{text}\n', encoding="utf-8")
    return composite.load_source(path)


def test_a_shank_under_another_head_weighs_what_both_weigh(tmp_path: Path) -> None:
    """Demo: 9.56 g with a head of 7.5 g, so 2.06 g of shank; another shank of 9.1 - 7.1 = 2.0 g set at 15.5 mm."""
    shanks = composite.load_source(SHOP / "shanks-15-5.toml")
    unit = composite.compose_unit(base(), {"shank": shanks}).build()
    assert unit.hammer.head_mass == pytest.approx(7.5e-3, abs=1e-8)
    assert unit.hammer.shank_mass_moment == pytest.approx(2.0e-3 * 131e-3, rel=1e-5)
    assert unit.hammer.knuckle_centre[0] == pytest.approx(15.5e-3) and unit.hammer.strike_point[1] == pytest.approx(
        50e-3
    )
    heads = file(tmp_path, "heads", '[hammer]\nbore = "53 mm"\nweight = "10.56 g"\nhead_mass = "8.5 g"')
    both = composite.compose_unit(base(), {"hammer": heads, "shank": shanks}).build()
    assert both.hammer.head_mass == pytest.approx(8.5e-3, abs=1e-8) and both.hammer.strike_point[1] == pytest.approx(
        53e-3
    )
    assert both.hammer.shank_mass_moment == pytest.approx(2.0e-3 * 131e-3, rel=1e-5)
    back = composite.compose_unit(base(), {"hammer": heads, "shank": base().source}).build()
    assert back.hammer.knuckle_centre[0] == pytest.approx(17e-3)
    assert back.hammer.shank_mass_moment == pytest.approx(2.06e-3 * 131e-3, rel=1e-5)


def test_a_flange_of_its_own_against_the_rail(tmp_path: Path) -> None:
    """Rail at 84.34 and a flange of 22 mm hold the demo's centre; another of 23.5 lifts it by 1.5, with any wippen."""
    rail = tmp_path / "rail.toml"
    text = DEMO.read_text(encoding="utf-8").replace(
        'wippen_centre_height = "106.34 mm"', 'wippen_rail_height = "84.34 mm"'
    )
    rail.write_text(text.replace("[wippen]", '[wippen]\nflange_height = "22 mm"'), encoding="utf-8")
    on = composite.load_base(rail)
    flange = file(tmp_path, "flange", '[wippen]\nflange_height = "23.5 mm"', on_demo=False)
    assert search.list_own_parts(flange) == ("flange",)
    found = fit_parts(on, {"flange": flange})
    (clash,) = (c for c in found.clashes if c.name == "flange_height")
    assert "1.5 mm higher" in clash.found and "lower the wippen rail by 1.5 mm" in clash.change
    assert found.parts == {"flange": "flange"}


def test_what_a_file_is_a_part_of(tmp_path: Path) -> None:
    for text, parts in (
        ('[hammer]\nknuckle_set = "16 mm"', ("shank",)),
        ('[hammer]\nknuckle_set = "16 mm"\nbore = "51 mm"', ("hammer",)),
        ('[wippen]\nweight = "18 g"\n[jack]\nlength = "50 mm"', ("wippen", "jack")),
        ('[springs]\nrepetition = "40 N·mm"', ()),
    ):
        assert search.list_own_parts(file(tmp_path, "part", text)) == parts


def test_inertia_refuses_what_the_weights_let_pass(tmp_path: Path) -> None:
    """2 g more head and as much more lead as it weighs at the key: the balance stays, the inertia grows by both.

    A gram of hammer is felt as its travel for the key squared (5.2 by the trade's 0.1 g to 0.5 g: 27 g), a gram of
    lead at the touch point as itself: 2 * 27 + 10.4 = 64 g more, or 70 with the demo's own 5.4.
    """
    file(tmp_path, "heavy head", '[hammer]\nweight = "11.56 g"\nhead_mass = "9.5 g"')
    file(tmp_path, "much lead", '[key]\nfront_weight = "34.8 g"\ninertia_front = "2.35e-3 kg·m²"')
    own = fit_parts(base(), {"hammer": base().source}).readings
    assert own is not None and own.touch.balance_weight is not None and own.inertia is not None
    weight = {"balance_weight": own.touch.balance_weight}
    light = search.search_combinations(base(), tmp_path, wishes=weight)
    together = {tuple(sorted(set(f.parts.values()) - {base().source.name})) for f in light.found}
    assert together == {(), ("heavy head", "much lead")}
    both = search.search_combinations(base(), tmp_path, wishes=weight | {"inertia": own.inertia})
    assert [set(f.parts.values()) for f in both.found] == [{base().source.name}]
    (refused,) = (r for r in both.refused if "inertia" in r.title)
    assert {"heavy head", "much lead"} <= set(refused.parts.values()) and refused.stage == "engine"
    heavy = next(f for f in light.found if "heavy head" in f.parts.values()).readings
    assert heavy is not None and (heavy.inertia or 0) - own.inertia == pytest.approx(64e-3, abs=12e-3)


def test_what_would_have_to_change_does_change_it(tmp_path: Path) -> None:
    """Hammers as much lighter as told bring balance weight and inertia where they were wished."""
    for name, wished, slack in (("balance_weight", 30 * GF, 0.6 * GF), ("inertia", 0.29, 0.01)):
        found = fit_parts(base(), {"hammer": base().source}, wishes={name: wished})
        (clash,) = (c for c in found.clashes if c.name == name)
        assert clash.grave and not found.together
        less = float(clash.change.split("lighter by about ")[1].split(" g")[0])
        head = file(tmp_path, "light", f'[hammer]\nweight = "{9.56 - less:.2f} g"\nhead_mass = "{7.5 - less:.2f} g"')
        unit = fit_parts(base(), {"hammer": head}).unit
        assert unit is not None
        pressed = slow_press.press_slowly(settle_at_rest(unit))
        came = {
            "balance_weight": slow_press.read_touch_weight(pressed)[0].balance_weight,
            "inertia": read_inertia(pressed).felt,
        }
        assert came[name] == pytest.approx(wished, abs=slack)


def test_too_much_aftertouch_is_told_with_the_dip_that_takes_it_away() -> None:
    """15.5 mm of knuckle where 17 was: 1.96 mm of aftertouch, 0.56 over the trade's 1.4; as much less dip."""
    found = fit_parts(base(), {"hammer": composite.load_source(SHOP / "shanks-15-5.toml")})
    (clash,) = (c for c in found.clashes if c.name == "aftertouch")
    assert not clash.grave and "less dip" in clash.change and "longer" in clash.change
    by = float(clash.change.split(" mm less dip")[0]) * 1e-3
    again = fit_parts(base(), {"hammer": composite.load_source(SHOP / "shanks-15-5.toml")}, {"dip": 10.2e-3 - by})
    assert again.readings is not None and again.readings.settings.aftertouch == pytest.approx(1.4e-3, abs=0.05e-3)


def test_stopped_it_gives_what_was_set_up(tmp_path: Path) -> None:
    for k in range(8):
        file(tmp_path, f"head {k}", f'[hammer]\nweight = "{9.2 + 0.05 * k} g"\nhead_mass = "{7.14 + 0.05 * k:.2f} g"')
    seen: list[str] = []
    found = search.search_combinations(
        base(), tmp_path, progress=lambda share, what: seen.append(what), stop=lambda: len(seen) > 2
    )
    assert found.stopped and found.not_played > 0
    assert 1 <= len(found.found) + len(found.refused) == found.combinations - found.not_played
    assert any("of 9" in what for what in seen)


def test_nothing_to_search_or_to_take_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(InputError, match="no part but the base's own"):
        search.search_combinations(base(), tmp_path)
    shanks = str(SHOP / "shanks-15-5.toml")
    for given, words in (
        (["--key", shanks], "key = not told"),
        (["--flange", shanks], "flange_height"),
        (["--hammer", shanks, "--target", "blow=44mm", "blow=45mm"], "each target once"),
        (["--hammer", shanks, "--target", "blow=4.5m"], "0.01 mm to 100 mm"),
    ):
        assert main(["fit", *given]) == ExitCode.BAD_INPUT
        assert words in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["fit", "--search", str(SHOP), "--most", "-3"])
    assert "1 to 100000" in capsys.readouterr().err
