"""Bayes' rule on a library made by hand, against general-purpose densities (scipy.stats) and Monte Carlo."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.diagnosis import bench_tests, inference
from sim.diagnosis.diagnose import compute_distance, diagnose_evidence
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import CauseGrid, Evidence, build_cause_grid, compute_posterior
from sim.diagnosis.library import SEVERITIES, FaultCurve, Library
from sim.diagnosis.next_test import rank_next_tests
from sim.diagnosis.observations import Observations
from sim.scenario.load import load
from sim.scenario.shipped import find_scenario
from tests.lazily import Lazily

stats = Lazily("scipy.stats")

ILL = ("tight-key", "heavy-hammer", "lead-much")
NUMBERS = ("down_weight", "up_weight", "pinning_key", "hammer_weight")
SHIFTS = {
    "tight-key": (8.0, -8.0, 12.0, 0.0),
    "heavy-hammer": (6.0, 6.0, 0.0, 5.0),
    "lead-much": (-6.0, -6.0, 0.0, 0.0),
}


@cache
def by_hand() -> Library:
    """Four numbers, one word, three faults; numbers in accuracies."""
    unit = load(find_scenario("concert-grand-natural"))
    rng = np.random.default_rng(4)
    healthy = np.array([50.0, 25.0, 12.0, 48.0])
    slopes = 0.8 * rng.standard_normal((3, 4))
    curves = {
        name: FaultCurve(
            SEVERITIES,
            np.array([healthy + (0.5 + s) * np.array(SHIFTS[name]) for s in SEVERITIES]),
            np.array([[0, 1 if name == "tight-key" and s > 0.6 else 0] for s in SEVERITIES]),
        )
        for name in ILL
    }
    empty = np.zeros_like(slopes)
    return Library(
        unit,
        NUMBERS,
        ("slow_press", "repeats"),
        healthy,
        np.array([0, 0]),
        slopes,
        empty,
        np.zeros(4),
        curves,
        {},
        False,
    )


@cache
def grid() -> CauseGrid:
    return build_cause_grid(by_hand())


def told(cell: int, random: np.random.Generator, names: tuple[str, ...] = NUMBERS) -> Evidence:
    """Readings of a cell, drawn."""
    g = grid()
    columns = list(range(len(NUMBERS)))
    drawn = random.multivariate_normal(g.mean[cell], g.covariance(columns, np.ones(4))[cell])
    return Evidence({n: float(v) for n, v in zip(NUMBERS, drawn, strict=True) if n in names}, {}, {})


def test_prior_is_the_catalogues_and_healthy_stands_for_its_share() -> None:
    found = compute_posterior(grid(), Evidence({}, {}, {}))
    assert found.healthy == pytest.approx(inference.HEALTHY_WEIGHT / (1 + inference.HEALTHY_WEIGHT))
    share = {name: load_faults()[name].prior for name in ILL}
    assert found.faults["tight-key"] / found.faults["lead-much"] == pytest.approx(
        share["tight-key"] / share["lead-much"], rel=0.1
    )


def test_posterior_is_bayes_rule_with_scipys_density(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inference, "OUTLIER_CHANCE", 0.0)
    g = grid()
    evidence = replace(told(5, np.random.default_rng(1)), words={"repeats": "yes"}, rough={"up_weight": 3.0})
    rough = np.array([1.0, 3.0, 1.0, 1.0])
    covariance = g.covariance([0, 1, 2, 3], rough)
    read = np.array(list(evidence.numbers.values()))
    density = np.array([stats.multivariate_normal(g.mean[c], covariance[c]).pdf(read) for c in range(len(g.of))])
    code = by_hand().tests["repeats"].words.index("yes")
    expected = g.prior * density * g.said[1][:, code]
    assert compute_posterior(g, evidence).weight == pytest.approx(expected / expected.sum(), rel=1e-8, abs=1e-12)


def test_one_number_amiss_is_the_mixture_it_says() -> None:
    """Against the sum over which number is amiss, each without that one, by scipy's density."""
    g, names = grid(), list(NUMBERS)
    evidence = told(9, np.random.default_rng(2))
    read = np.array(list(evidence.numbers.values()))
    read[2] += 30.0
    evidence = Evidence(dict(zip(names, read.tolist(), strict=True)), {}, {})
    covariance = g.covariance([0, 1, 2, 3], np.ones(4))
    whole = []
    for c in range(len(g.of)):
        density = stats.multivariate_normal(g.mean[c], covariance[c]).pdf(read)
        for out in range(4):
            keep = [k for k in range(4) if k != out]
            less = stats.multivariate_normal(g.mean[c][keep], covariance[c][np.ix_(keep, keep)]).pdf(read[keep])
            density += inference.OUTLIER_CHANCE / inference.OUTLIER_RANGE * less
        whole.append(g.prior[c] * density)
    expected = np.array(whole) / np.sum(whole)
    assert compute_posterior(g, evidence).weight == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_calibrated_when_the_library_is_right() -> None:
    """Drawn from the prior and the likelihood, 70-95 % sure is right as often as it says (3 standard errors)."""
    random, g = np.random.default_rng(3), grid()
    said, right = [], []
    for _ in range(1500):
        cell = int(random.choice(len(g.of), p=g.prior))
        name, p = compute_posterior(g, told(cell, random, NUMBERS[:1])).ranked[0]
        if 0.7 <= p < 0.95:
            said.append(p)
            right.append(name in (g.causes[g.of[cell]] or ("",)))
    assert len(said) > 150
    assert abs(np.mean(right) - np.mean(said)) < 3 * np.sqrt(0.25 / len(said))


def test_expected_information_is_what_sampling_finds() -> None:
    """Lindley's measure by summing, against the mean fall of entropy over sampled outcomes."""
    random, g = np.random.default_rng(6), grid()
    before = compute_posterior(g, Evidence({"down_weight": 54.0, "up_weight": 25.0}, {}, {}))

    def entropy(found: inference.Posterior) -> float:
        p = np.array([v for v in found.causes.values() if v > 0])
        return float(-(p * np.log2(p)).sum())

    falls = []
    for _ in range(3000):
        cell = int(random.choice(len(g.of), p=before.weight))
        covariance = g.covariance([0, 1, 2], np.ones(3))[cell]
        mean = g.mean[cell][:3]
        gain = np.linalg.solve(covariance[:2, :2], covariance[:2, 2])
        expected = mean[2] + gain @ (np.array([54.0, 25.0]) - mean[:2])
        deviation = np.sqrt(covariance[2, 2] - gain @ covariance[:2, 2])
        y = float(random.normal(expected, deviation))
        after = compute_posterior(g, Evidence({"down_weight": 54.0, "up_weight": 25.0, "pinning_key": y}, {}, {}))
        falls.append(entropy(before) - entropy(after))
    (row,) = (t for t in rank_next_tests(before) if t.test.name == "pinning_key")
    assert row.tells == pytest.approx(np.mean(falls), abs=4 * np.std(falls) / np.sqrt(len(falls)) + 0.02)
    assert sum(o.probability for o in row.outcomes) > 0.95


def test_what_says_nothing_tells_nothing() -> None:
    before = compute_posterior(
        grid(), Evidence({"down_weight": 50.0, "up_weight": 25.0, "hammer_weight": 48.0}, {}, {})
    )
    for row in rank_next_tests(before):
        assert -1e-9 <= row.tells <= np.log2(len(grid().causes))


def test_action_out_already_makes_its_tests_cheaper() -> None:
    before = compute_posterior(grid(), Evidence({"down_weight": 55.0}, {}, {}))
    now, later = ({t.test.name: t.cost for t in rank_next_tests(before, out)} for out in (True, False))
    assert now["pinning_key"] < later["pinning_key"] and now["up_weight"] == later["up_weight"]


def test_more_of_a_fault_is_read_as_more_of_it() -> None:
    healthy = by_hand().healthy
    means = []
    for s in (0.1, 0.5, 0.9):
        read = healthy + (0.5 + s) * np.array(SHIFTS["tight-key"])
        found = compute_posterior(grid(), Evidence(dict(zip(NUMBERS, read.tolist(), strict=True)), {}, {}))
        mean, low, high = found.severity("tight-key")
        assert low <= s <= high
        means.append(mean)
    assert means == sorted(means)


def test_readings_that_nothing_explains_are_said_to() -> None:
    tests = bench_tests.list_unit_tests(by_hand().unit)
    numbers = {"down_weight": 50.0, "up_weight": 25.0, "pinning_key": 55.0, "hammer_weight": 75.0}
    found = diagnose_evidence(grid(), Observations({n: v * tests[n].si for n, v in numbers.items()}, {}, {}))
    assert found.verdict == "unexplained"
    assert {row.test.name for row in found.disagrees} & {"pinning_key", "hammer_weight"}


def test_two_causes_alike_in_what_was_read_are_told_so_with_what_splits_them() -> None:
    """Weights 6 gf up from a heavy hammer or from lead taken out read alike: the scale tells them apart."""
    tests = bench_tests.list_unit_tests(by_hand().unit)
    lib = by_hand()
    both = replace(lib, curves={**lib.curves, "lead-missing": FaultCurve(
        SEVERITIES, np.array([lib.healthy + (0.5 + s) * np.array((6.0, 6.0, 0.0, 0.0)) for s in SEVERITIES]),
        np.zeros((5, 2), int))})  # fmt: skip
    numbers = {"down_weight": 56.0, "up_weight": 31.0}
    found = diagnose_evidence(
        build_cause_grid(both), Observations({n: v * tests[n].si for n, v in numbers.items()}, {}, {})
    )
    (group,) = (g for g in found.alike if "heavy-hammer" in g.faults)
    assert set(group.faults) == {"heavy-hammer", "lead-missing"} and group.by == "hammer_weight"
    numbers |= {"hammer_weight": 53.0}
    apart = diagnose_evidence(
        build_cause_grid(both), Observations({n: v * tests[n].si for n, v in numbers.items()}, {}, {})
    )
    assert not [g for g in apart.alike if "heavy-hammer" in g.faults]
    assert compute_distance(build_cause_grid(both), found.found, "heavy-hammer", "lead-missing", [3], []) > 4
