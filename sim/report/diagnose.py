"""A diagnosis as words, tables, JSON and a picture; the blank sheet for the bench; what calibrating found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from rich.console import Group, RenderableType
from rich.text import Text

from sim.diagnosis.bench_tests import BenchTest, bench_tests
from sim.diagnosis.calibrate import Calibration, Fitted
from sim.diagnosis.diagnose import LISTED, Alike, Diagnosis, Disagrees, Listed
from sim.diagnosis.faults import faults
from sim.diagnosis.inference import OF_BEND, OWN_ERROR
from sim.diagnosis.next_test import NextTest, Outcome
from sim.diagnosis.observations import HEAD, Observed
from sim.display_units import choose_unit, column_name, convert_si, format_number, format_si, unit_label
from sim.regulation.bench_minutes import minutes
from sim.report.drawing.mechanism import INK
from sim.report.formats.json_text import Document, clean
from sim.report.formats.tables import CAUTIONS, plain_table
from sim.report.formats.traces import csv_text

SHOWN = 5
"""Tests that are told."""
INTERPOLATED = (
    "Readings between the severities that were run are interpolated; the error of that, and of taking a fault to do in "
    "any healthy unit what it does in this one, is taken as "
    f"{100 * OWN_ERROR:.0f} % of a fault's shift and {100 * OF_BEND:.0f} % of a bend, "
    "and is part of how sure the list is."
)
DESCRIBED = 3
"""Faults of which more is told."""
NONE = "no fault of the catalogue"


def percent(p: float) -> str:
    """A probability; never a certainty."""
    return "under 1 %" if p < 0.01 else "over 99 %" if p > 0.99 else f"{100 * p:.0f} %"


def title(name: str) -> str:
    """A cause as a person reads it: a fault, two of them, or none."""
    return " and ".join(faults()[n].title for n in name.split(" and ")) if name else NONE


def verdict(d: Diagnosis, inches: bool = False) -> str:
    """One sentence."""
    if d.verdict == "unexplained":
        return (
            "No fault of the catalogue explains these readings: the best of them would misfit so far "
            f"{_odds(d.chance)}."
        )
    if not d.found.evidence.numbers and not d.found.evidence.words:
        return "Nothing has been read yet: this is how often each cause is met."
    if d.verdict == "healthy":
        return f"Nothing is wrong that these readings show: healthy, {percent(d.healthy)}."
    best = d.listed[0]
    if d.verdict == "unsure":
        return f"Not sure yet. Likeliest: {title(d.found.ranked[0][0])}, {percent(d.found.ranked[0][1])}."
    return (
        f"{best.fault.title[0].upper()}{best.fault.title[1:]}, {percent(best.probability)}: {sizes(best, d, inches)}."
    )


def _odds(chance: float) -> str:
    return "less than once in a million times" if chance < 1e-6 else f"about once in {1 / chance:,.0f} times"


def sizes(one: Listed, d: Diagnosis, inches: bool = False) -> str:
    """How bad it is, if it is there."""
    mean, low, high = one.sizes(inches)
    return f"{mean} (90 % between {low} and {high})"


def alike(group: Alike, tests: Mapping[str, BenchTest]) -> str:
    """What cannot be told apart."""
    names = [faults()[n].title for n in group.faults]
    told = f"{', '.join(names[:-1])} and {names[-1]}"
    by = f" One reading that would: {tests[group.by].title}." if group.by else " No single reading of the list would."
    return f"These readings cannot tell {told} apart.{by}"


def disagrees(row: Disagrees, inches: bool = False) -> str:
    """A reading that nothing explains."""
    read, expected = (format_si(v, row.test.unit, inches) for v in (row.read, row.expected))
    return (
        f"{row.test.title}: {read} was read, {expected} would fit the others ({abs(row.off):.1f} standard errors off)"
    )


def outcome(o: Outcome, test: BenchTest, inches: bool = False) -> str:
    """One outcome of a test and what it would mean."""
    if o.word:
        said = f'"{o.word}"'
    else:
        unit = choose_unit(test.unit, inches)
        low, high = (convert_si(v, unit) or 0.0 for v in (max(o.low, test.least), o.high))
        ends = (format_number(v, unit, test.accuracy) for v in (low, high))
        said = f"{' to '.join(ends)} {unit_label(unit)}".strip()
    return f"{said} ({percent(o.probability)}): {title(o.leading)}, {percent(o.sure)}"


def cost(t: NextTest) -> str:
    """Time and parts."""
    time = minutes(t.cost)
    return ", ".join(part for part in (time, "action out" if t.test.out else "action in", t.test.parts) if part)


def causes(d: Diagnosis, inches: bool = False) -> list[dict[str, str]]:
    """The list of causes, a row each, "none" among them."""
    rows = [(c.probability, (c.fault.title, percent(c.probability), sizes(c, d, inches))) for c in d.listed]
    rows.append((d.healthy, (NONE, percent(d.healthy), "")))
    names = ("cause", "how likely", "how bad, if it is there")
    return [dict(zip(names, row, strict=True)) for _, row in sorted(rows, key=lambda pair: -pair[0])]


def together(d: Diagnosis) -> list[str]:
    """Pairs that may both be there."""
    pairs = [(p, c) for c, p in d.found.causes.items() if len(c) > 1 and p >= 2 * LISTED]
    return [f"Both together, {title(' and '.join(c))}: {percent(p)}." for p, c in sorted(pairs, reverse=True)]


def described(d: Diagnosis) -> list[str]:
    """What the likeliest faults look like, what shows them first, and what mends them."""
    return [
        f"{c.fault.title}: {c.fault.shows}. First test: {c.fault.test}. Cure: {c.fault.cure}."
        for c in d.listed[:DESCRIBED]
    ]


def next_rows(d: Diagnosis) -> list[dict[str, str]]:
    """The tests that tell most, the suggested one first."""
    return [
        {"test": t.test.title, "tells, bits": f"{t.tells:.2f}", "cost": cost(t), "how": t.test.how}
        for t in d.tests[:SHOWN]
    ]


def tables(d: Diagnosis) -> RenderableType:
    """All of it for a terminal."""
    parts: list[RenderableType] = [Text(verdict(d), style="bold"), Text("")]
    parts += [Text(disagrees(row)) for row in d.disagrees]
    table = plain_table("Causes")
    for name in ("", "likely", "how bad, if it is there"):
        table.add_column(name)
    for row in causes(d):
        table.add_row(row["cause"], row["how likely"], row["how bad, if it is there"])
    parts += [table, Text("")]
    parts += [Text(line) for line in (*together(d), *described(d))]
    parts += [Text(alike(group, d.found.cells.library.tests)) for group in d.alike]
    if d.tests:
        tests = plain_table("Next reading, the one that tells most for its cost first")
        for name in ("", "tells, bits", "cost"):
            tests.add_column(name)
        for row in next_rows(d):
            tests.add_row(row["test"], row["tells, bits"], row["cost"])
        first = d.tests[0]
        parts += [Text(""), tests, Text(""), Text(f"{first.test.title}: {first.test.how}. It would mean:")]
        parts += [Text(f"  {outcome(o, first.test)}") for o in first.outcomes]
    return Group(*parts, Text(""), Text(INTERPOLATED), Text(""), Text(" ".join(CAUTIONS.split())))


def document(d: Diagnosis, observed: Observed) -> Document:
    """The same as JSON; quantities in the unit their name says."""
    tests = d.found.cells.library.tests
    return clean(
        {
            "unit": d.found.cells.library.unit.name,
            "verdict": d.verdict,
            "healthy": d.healthy,
            "chance_of_misfit": d.chance,
            "read": {column_name(n, tests[n].unit): convert_si(v, tests[n].unit) for n, v in observed.numbers.items()}
            | dict(observed.words),
            "causes": [_cause(c, d) for c in d.listed],
            "together": [
                {"faults": list(c), "probability": p} for c, p in d.found.causes.items() if len(c) > 1 and p >= LISTED
            ],
            "cannot_be_told_apart": [{"faults": list(g.faults), "by": g.by} for g in d.alike],
            "disagree": [
                {"reading": r.test.name, column_name("read", r.test.unit): convert_si(r.read, r.test.unit),
                 column_name("expected", r.test.unit): convert_si(r.expected, r.test.unit), "standard_errors": r.off}
                for r in d.disagrees
            ],
            "next": [_test(t) for t in d.tests],
        }
    )  # fmt: skip


def _cause(c: Listed, d: Diagnosis) -> Document:
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
    return {"reading": t.test.name, "unit": unit_label(t.test.unit), "tells_bits": t.tells, "cost_s": t.cost,
            "action_out": t.test.out, "parts": t.test.parts, "how": t.test.how, "outcomes": outcomes}  # fmt: skip


def blank_toml(tests: Mapping[str, BenchTest], name: str) -> str:
    """The sheet to fill in."""
    lines = [f"# Readings of one note, to be diagnosed against {name}.", "# Leave empty what was not read.",
             "# [accuracy] below: where a reading was taken better or worse than usual.", "", "[readings]"]  # fmt: skip
    shown_out = False
    for test in sorted(tests.values(), key=lambda t: (not t.first, t.out)):
        if test.out and not shown_out:
            lines += ["", "# With the action out of the piano:", *(f"# {line}" for line in _wrapped(CAUTIONS))]
            shown_out = True
        wanted = (
            " | ".join(test.words) if test.words else f"{unit_label(test.unit) or 'a number'}, to {test.accuracy:g}"
        )
        lines += [f"# {test.title}: {test.how}", f'{test.name} = ""{" " * max(1, 28 - len(test.name))}# {wanted}']
    return "\n".join([*lines, "", "[accuracy]", ""])


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(" ".join(text.split()), 110)


def blank_csv(tests: Iterable[str]) -> str:
    """The same as a table."""
    return "reading,value,accuracy\n" + "".join(f"{name},,\n" for name in tests)


def sheet_csv(observed: Observed) -> str:
    """What was read, as the sheet that gives it again."""
    rows = [(name, word, "") for name, word in observed.words.items()]
    for name, si in observed.numbers.items():
        unit = bench_tests()[name].unit
        fine = observed.accuracy.get(name)
        rows.append((name, _written(si, unit), "" if fine is None else _written(fine, unit)))
    return csv_text(HEAD.split(","), rows)


def _written(si: float, unit: str) -> str:
    value = convert_si(si, unit)
    return f"{value:.6g} {unit_label(unit)}".strip()


def draw(d: Diagnosis) -> Figure:
    """The likeliest causes as bars, and how bad each would be."""
    rows = [(c.probability, c.fault.title) for c in d.listed[:8]] + [(d.healthy, NONE)]
    rows.sort()
    figure = Figure(figsize=(9, 0.6 + 0.36 * len(rows)), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.barh([t for _, t in rows], [100 * p for p, _ in rows], color="#1d5c63", height=0.6)
    for i, (p, _) in enumerate(rows):
        axes.text(100 * p + 1, i, percent(p), va="center", fontsize=8, color=INK)
    axes.set_xlim(0, 112)
    axes.set_xticks([0, 25, 50, 75, 100])
    axes.set_xlabel("how likely, %")
    axes.spines[["top", "right"]].set_visible(False)
    return figure


def calibrated(c: Calibration) -> RenderableType:
    """What was fitted: readings before and after, inputs that moved, and what is left of their uncertainty."""
    readings = plain_table("Readings: scenario, fitted")
    inputs = plain_table("Inputs that the readings moved or made surer (in standard deviations of healthy units)")
    for table, rows in ((readings, fitted_rows(c)), (inputs, input_rows(c))):
        for name in rows[0] if rows else ():
            table.add_column(name, justify="left" if name in ("reading", "input") else "right", no_wrap=True)
        for row in rows:
            table.add_row(*row.values())
    return Group(readings, Text(""), inputs)


def fitted_rows(c: Calibration, inches: bool = False) -> list[dict[str, str]]:
    """Readings of the scenario and of the fitted unit, a row each."""
    tests = bench_tests()
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


def input_rows(c: Calibration) -> list[dict[str, str]]:
    """Inputs about which the readings said something."""
    return [
        {"input": f.variation.at, "off by": f"{f.z:+.2f}", "uncertainty left": f"{100 * f.deviation:.0f} %"}
        for f in moved(c)
    ]


def moved(c: Calibration) -> Sequence[Fitted]:
    """Inputs about which the readings said something."""
    return sorted((f for f in c.inputs if abs(f.z) > 0.2 or f.learned > 0.1), key=lambda f: -abs(f.z))


def calibrated_document(c: Calibration) -> Document:
    """The same as JSON."""
    tests = bench_tests()
    return clean(
        {
            "readings": {
                column_name(r.name, tests[r.name].unit): {
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
