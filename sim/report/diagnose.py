"""A diagnosis as words, tables, JSON and a picture; the blank sheet for the bench; what calibrating found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from rich.console import Group, RenderableType
from rich.text import Text

from sim.diagnosis.bench_tests import BenchTest, list_bench_tests
from sim.diagnosis.calibrate import Calibration, FittedInput
from sim.diagnosis.diagnose import (
    LEAST_LISTED_CHANCE,
    Diagnosis,
    IndistinguishableFaults,
    ListedFault,
    UnexplainedReading,
)
from sim.diagnosis.faults import load_faults
from sim.diagnosis.inference import BEND_ERROR, LIBRARY_ERROR
from sim.diagnosis.next_test import NextTest, PossibleOutcome
from sim.diagnosis.observations import HEAD, Observations
from sim.display_units import choose_unit, convert_si, format_column_name, format_number, format_si, format_unit
from sim.regulation.duration_text import format_bench_time
from sim.report.drawing.mechanism import INK
from sim.report.formats.json_text import Document, clean_document
from sim.report.formats.tables import CAUTIONS, new_plain_table
from sim.report.formats.traces import format_csv_lines

MOST_CAUSES = 5
"""Tests that are told."""
INTERPOLATED = (
    "Readings between the severities that were run are interpolated; the error of that, and of taking a fault to do in "
    "any healthy unit what it does in this one, is taken as "
    f"{100 * LIBRARY_ERROR:.0f} % of a fault's shift and {100 * BEND_ERROR:.0f} % of a bend, "
    "and is part of how sure the list is."
)
DESCRIBED = 3
"""Faults of which more is told."""
NONE = "no fault of the catalogue"


def format_percent(p: float) -> str:
    """A probability; never a certainty."""
    return "under 1 %" if p < 0.01 else "over 99 %" if p > 0.99 else f"{100 * p:.0f} %"


def format_title(name: str) -> str:
    """A cause as a person reads it: a fault, two of them, or none."""
    return " and ".join(load_faults()[n].title for n in name.split(" and ")) if name else NONE


def format_verdict(d: Diagnosis, inches: bool = False) -> str:
    """One sentence."""
    if d.verdict == "unexplained":
        return (
            "No fault of the catalogue explains these readings: the best of them would misfit so far "
            f"{_format_odds(d.chance)}."
        )
    if not d.found.evidence.numbers and not d.found.evidence.words:
        return "Nothing has been read yet: this is how often each cause is met."
    if d.verdict == "healthy":
        return f"Nothing is wrong that these readings show: healthy, {format_percent(d.healthy)}."
    best = d.listed[0]
    if d.verdict == "unsure":
        return f"Not sure yet. Likeliest: {format_title(d.found.ranked[0][0])}, {format_percent(d.found.ranked[0][1])}."
    return (
        f"{best.fault.title[0].upper()}{best.fault.title[1:]}, {format_percent(best.probability)}: "
        f"{format_severities(best, d, inches)}."
    )


def _format_odds(chance: float) -> str:
    return "less than once in a million times" if chance < 1e-6 else f"about once in {1 / chance:,.0f} times"


def format_severities(one: ListedFault, d: Diagnosis, inches: bool = False) -> str:
    """How bad it is, if it is there."""
    mean, low, high = one.sizes(inches)
    return f"{mean} (90 % between {low} and {high})"


def format_alike(group: IndistinguishableFaults, tests: Mapping[str, BenchTest]) -> str:
    """What cannot be told apart."""
    names = [load_faults()[n].title for n in group.faults]
    told = f"{', '.join(names[:-1])} and {names[-1]}"
    by = f" One reading that would: {tests[group.by].title}." if group.by else " No single reading of the list would."
    return f"These readings cannot tell {told} apart.{by}"


def format_disagreement(row: UnexplainedReading, inches: bool = False) -> str:
    """A reading that nothing explains."""
    read, expected = (format_si(v, row.test.unit, inches) for v in (row.read, row.expected))
    return (
        f"{row.test.title}: {read} was read, {expected} would fit the others ({abs(row.off):.1f} standard errors off)"
    )


def format_outcome(o: PossibleOutcome, test: BenchTest, inches: bool = False) -> str:
    """One outcome of a test and what it would mean."""
    if o.word:
        said = f'"{o.word}"'
    else:
        unit = choose_unit(test.unit, inches)
        low, high = (convert_si(v, unit) or 0.0 for v in (max(o.low, test.least), o.high))
        ends = (format_number(v, unit, test.accuracy) for v in (low, high))
        said = f"{' to '.join(ends)} {format_unit(unit)}".strip()
    return f"{said} ({format_percent(o.probability)}): {format_title(o.leading)}, {format_percent(o.sure)}"


def format_cost(t: NextTest) -> str:
    """Time and parts."""
    time = format_bench_time(t.cost)
    return ", ".join(part for part in (time, "action out" if t.test.out else "action in", t.test.parts) if part)


def build_cause_rows(d: Diagnosis, inches: bool = False) -> list[dict[str, str]]:
    """The list of causes, a row each, "none" among them."""
    rows = [
        (c.probability, (c.fault.title, format_percent(c.probability), format_severities(c, d, inches)))
        for c in d.listed
    ]
    rows.append((d.healthy, (NONE, format_percent(d.healthy), "")))
    names = ("cause", "how likely", "how bad, if it is there")
    return [dict(zip(names, row, strict=True)) for _, row in sorted(rows, key=lambda pair: -pair[0])]


def list_pairs(d: Diagnosis) -> list[str]:
    """Pairs that may both be there."""
    pairs = [(p, c) for c, p in d.found.causes.items() if len(c) > 1 and p >= 2 * LEAST_LISTED_CHANCE]
    return [
        f"Both together, {format_title(' and '.join(c))}: {format_percent(p)}." for p, c in sorted(pairs, reverse=True)
    ]


def describe_faults(d: Diagnosis) -> list[str]:
    """What the likeliest faults look like, what shows them first, and what mends them."""
    return [
        f"{c.fault.title}: {c.fault.shows}. First test: {c.fault.test}. Cure: {c.fault.cure}."
        for c in d.listed[:DESCRIBED]
    ]


def build_next_test_rows(d: Diagnosis) -> list[dict[str, str]]:
    """The tests that tell most, the suggested one first."""
    return [
        {"test": t.test.title, "tells, bits": f"{t.tells:.2f}", "cost": format_cost(t), "how": t.test.how}
        for t in d.tests[:MOST_CAUSES]
    ]


def build_tables(d: Diagnosis) -> RenderableType:
    """All of it for a terminal."""
    parts: list[RenderableType] = [Text(format_verdict(d), style="bold"), Text("")]
    parts += [Text(format_disagreement(row)) for row in d.disagrees]
    table = new_plain_table("Causes")
    for name in ("", "likely", "how bad, if it is there"):
        table.add_column(name)
    for row in build_cause_rows(d):
        table.add_row(row["cause"], row["how likely"], row["how bad, if it is there"])
    parts += [table, Text("")]
    parts += [Text(line) for line in (*list_pairs(d), *describe_faults(d))]
    parts += [Text(format_alike(group, d.found.cells.library.tests)) for group in d.alike]
    if d.tests:
        tests = new_plain_table("Next reading, the one that tells most for its cost first")
        for name in ("", "tells, bits", "cost"):
            tests.add_column(name)
        for row in build_next_test_rows(d):
            tests.add_row(row["test"], row["tells, bits"], row["cost"])
        first = d.tests[0]
        parts += [Text(""), tests, Text(""), Text(f"{first.test.title}: {first.test.how}. It would mean:")]
        parts += [Text(f"  {format_outcome(o, first.test)}") for o in first.outcomes]
    return Group(*parts, Text(""), Text(INTERPOLATED), Text(""), Text(" ".join(CAUTIONS.split())))


def build_document(d: Diagnosis, observed: Observations) -> Document:
    """The same as JSON; quantities in the unit their name says."""
    tests = d.found.cells.library.tests
    return clean_document(
        {
            "unit": d.found.cells.library.unit.name,
            "verdict": d.verdict,
            "healthy": d.healthy,
            "chance_of_misfit": d.chance,
            "read": {
                format_column_name(n, tests[n].unit): convert_si(v, tests[n].unit) for n, v in observed.numbers.items()
            }
            | dict(observed.words),
            "causes": [_cause(c, d) for c in d.listed],
            "together": [
                {"faults": list(c), "probability": p}
                for c, p in d.found.causes.items()
                if len(c) > 1 and p >= LEAST_LISTED_CHANCE
            ],
            "cannot_be_told_apart": [{"faults": list(g.faults), "by": g.by} for g in d.alike],
            "disagree": [
                {
                    "reading": r.test.name,
                    format_column_name("read", r.test.unit): convert_si(r.read, r.test.unit),
                    format_column_name("expected", r.test.unit): convert_si(r.expected, r.test.unit),
                    "standard_errors": r.off,
                }
                for r in d.disagrees
            ],
            "next": [_test(t) for t in d.tests],
        }
    )


def _cause(c: ListedFault, d: Diagnosis) -> Document:
    told = {"fault": c.fault.name} | {n: getattr(c.fault, n) for n in ("title", "shows", "test", "cure", "caution")}
    sizes_ = dict(zip(("size", "size_low", "size_high"), c.sizes(), strict=True))
    return told | {"probability": c.probability} | dict(
        zip(("severity", "severity_low", "severity_high"), c.severity, strict=True)
    ) | sizes_  # fmt: skip


def _test(t: NextTest) -> Document:
    outcomes = [
        {"word": o.word, "low": convert_si(o.low, t.test.unit), "high": convert_si(o.high, t.test.unit),
         "probability": o.probability, "leading": o.leading, "sure": o.sure}
        for o in t.outcomes
    ]  # fmt: skip
    return {"reading": t.test.name, "unit": format_unit(t.test.unit), "tells_bits": t.tells, "cost_s": t.cost,
            "action_out": t.test.out, "parts": t.test.parts, "how": t.test.how, "outcomes": outcomes}  # fmt: skip


def format_blank_toml(tests: Mapping[str, BenchTest], name: str) -> str:
    """The sheet to fill in."""
    lines = [f"# Readings of one note, to be diagnosed against {name}.", "# Leave empty what was not read.",
             "# [accuracy] below: where a reading was taken better or worse than usual.", "", "[readings]"]  # fmt: skip
    shown_out = False
    for test in sorted(tests.values(), key=lambda t: (not t.first, t.out)):
        if test.out and not shown_out:
            lines += ["", "# With the action out of the piano:", *(f"# {line}" for line in _wrap_comment(CAUTIONS))]
            shown_out = True
        wanted = (
            " | ".join(test.words) if test.words else f"{format_unit(test.unit) or 'a number'}, to {test.accuracy:g}"
        )
        lines += [f"# {test.title}: {test.how}", f'{test.name} = ""{" " * max(1, 28 - len(test.name))}# {wanted}']
    return "\n".join([*lines, "", "[accuracy]", ""])


def _wrap_comment(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(" ".join(text.split()), 110)


def format_blank_csv(tests: Iterable[str]) -> str:
    """The same as a table."""
    return "reading,value,accuracy\n" + "".join(f"{name},,\n" for name in tests)


def format_observations_csv(observed: Observations) -> str:
    """What was read, as the sheet that gives it again."""
    rows = [(name, word, "") for name, word in observed.words.items()]
    for name, si in observed.numbers.items():
        unit = list_bench_tests()[name].unit
        fine = observed.accuracy.get(name)
        rows.append((name, _format_observed(si, unit), "" if fine is None else _format_observed(fine, unit)))
    return format_csv_lines(HEAD.split(","), rows)


def _format_observed(si: float, unit: str) -> str:
    value = convert_si(si, unit)
    return f"{value:.6g} {format_unit(unit)}".strip()


def draw_diagnosis(d: Diagnosis) -> Figure:
    """The likeliest causes as bars, and how bad each would be."""
    rows = [(c.probability, c.fault.title) for c in d.listed[:8]] + [(d.healthy, NONE)]
    rows.sort()
    figure = Figure(figsize=(9, 0.6 + 0.36 * len(rows)), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.barh([t for _, t in rows], [100 * p for p, _ in rows], color="#1d5c63", height=0.6)
    for i, (p, _) in enumerate(rows):
        axes.text(100 * p + 1, i, format_percent(p), va="center", fontsize=8, color=INK)
    axes.set_xlim(0, 112)
    axes.set_xticks([0, 25, 50, 75, 100])
    axes.set_xlabel("how likely, %")
    axes.spines[["top", "right"]].set_visible(False)
    return figure


def build_calibration_tables(c: Calibration) -> RenderableType:
    """What was fitted: readings before and after, inputs that moved, and what is left of their uncertainty."""
    readings = new_plain_table("Readings: scenario, fitted")
    inputs = new_plain_table("Inputs that the readings moved or made surer (in standard deviations of healthy units)")
    for table, rows in ((readings, build_fitted_rows(c)), (inputs, build_input_rows(c))):
        for name in rows[0] if rows else ():
            table.add_column(name, justify="left" if name in ("reading", "input") else "right", no_wrap=True)
        for row in rows:
            table.add_row(*row.values())
    return Group(readings, Text(""), inputs)


def build_fitted_rows(c: Calibration, inches: bool = False) -> list[dict[str, str]]:
    """Readings of the scenario and of the fitted unit, a row each."""
    tests = list_bench_tests()
    return [
        {
            "reading": tests[r.name].title,
            "read": "" if r.read is None else format_si(r.read, tests[r.name].unit, inches),
            "scenario": format_si(r.before, tests[r.name].unit, inches),
            "fitted": format_si(r.after, tests[r.name].unit, inches),
            "+-": format_si(r.error, tests[r.name].unit, inches),
        }
        for r in c.readings
    ]


def build_input_rows(c: Calibration) -> list[dict[str, str]]:
    """Inputs about which the readings said something."""
    return [
        {"input": f.variation.at, "off by": f"{f.z:+.2f}", "uncertainty left": f"{100 * f.deviation:.0f} %"}
        for f in list_moved_inputs(c)
    ]


def list_moved_inputs(c: Calibration) -> Sequence[FittedInput]:
    """Inputs about which the readings said something."""
    return sorted((f for f in c.inputs if abs(f.z) > 0.2 or f.learned > 0.1), key=lambda f: -abs(f.z))


def build_calibration_document(c: Calibration) -> Document:
    """The same as JSON."""
    tests = list_bench_tests()
    return clean_document(
        {
            "readings": {
                format_column_name(r.name, tests[r.name].unit): {
                    "read": convert_si(r.read, tests[r.name].unit),
                    "scenario": convert_si(r.before, tests[r.name].unit),
                    "fitted": convert_si(r.after, tests[r.name].unit),
                    "standard_error": convert_si(r.error, tests[r.name].unit),
                }
                for r in c.readings
            },
            "inputs": {
                f.variation.at: {"standard_deviations_off": f.z, "uncertainty_left": f.deviation} for f in c.inputs
            },
        }
    )
