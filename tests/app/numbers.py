"""Numbers as they are printed on a page beside those of the Python interface."""

from __future__ import annotations

import sim
from dashboard.session.work import Work
from sim.display_units import UNITS
from sim.unit.model import ActionUnit


def get_unit(work: Work) -> ActionUnit:
    """The unit as the pages have it."""
    from dashboard.session import results

    return results.get_unit(work)


def list_predicted(work: Work) -> dict[str, tuple[float | None, str]]:
    """What the Python interface reads of the same unit: value and unit by name as on a card."""
    from sim.report.formats.frames import to_frame

    unit = get_unit(work)
    found = to_frame(sim.predict(unit), unit)
    wanted = found[found["group"].isin(["settings", "touch", "repetition"]) | (found["of"] == "moderate")]
    names = {shown.label: name for name, shown in UNITS.items()}
    out = {}
    for row in wanted.to_dict("records"):
        suffix = names.get(row["unit"], "")
        out[f"{row['reading']}_{suffix}".rstrip("_")] = (row["value"], row["unit"])
    return out


def check_printed(printed: dict[str, str], wanted: dict[str, tuple[float | None, str]]) -> int:
    """Every number printed is the computed one, to its last digit; how many there were."""
    wrong = {
        name: (text, wanted[name]) for name, text in printed.items() if not is_printed_value(name, text, *wanted[name])
    }
    assert not wrong
    return len(printed)


def is_printed_value(name: str, text: str, value: float | None, unit: str) -> bool:
    """Whether a printed text is this value with its unit, to its last digit."""
    if value is None or value != value:
        return text == "no reading"
    number, _, label = text.partition(" ")
    decimals = len(number.partition(".")[2])
    return label == (unit or ("per s" if name.endswith("_hz") else "")) and number == f"{value:.{decimals}f}"
