"""``--set PATH=VALUE``: changing fields of a scenario for one run, by a quantity or by a share of its own value."""

from __future__ import annotations

import re
from collections.abc import Mapping

from sim.errors import Fault, InputError
from sim.fields import defaults
from sim.fields.field_paths import Field, index_fields, is_table, suggest_name
from sim.fields.quantity_field import Kind, QuantityField, fit_on_line, read_quantity, shorten_value, write_quantity
from sim.fields.scenario_files import Leaf, Leaves, find_alternatives

PERCENTAGE_PATTERN = re.compile(r"\s*([0-9]{1,6}(?:\.[0-9]{1,12})?)\s*%\s*")
OVERRIDE_SOURCE = "--set"
NOT_SETTABLE = ("based_on", "default_source", "invented", "key.leads")


def apply_overrides(leaves: Leaves, file: str, overrides: Mapping[str, str]) -> Leaves:
    """The leaves with the overrides on top; all that is wrong with the overrides at once."""
    changed = dict(leaves)
    faults: list[Fault] = []
    for path, text in overrides.items():
        try:
            _apply_override(changed, file, str(path).strip(), text)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return changed


def _apply_override(leaves: Leaves, file: str, path: str, text: str) -> None:
    field = index_fields().get(path)
    if path in NOT_SETTABLE:
        raise _wrong(path, text, "a change in the file", "not to be set for one run: change it in the scenario file")
    if field is None:
        raise _no_such(path, text)
    if not isinstance(text, str) or not text.strip():
        raise _wrong(path, text, _allowed(field), "give a quantity with its unit, or a percentage")
    where = tuple(path.split("."))
    raw = _share(leaves, file, field, text) if field.kind and PERCENTAGE_PATTERN.fullmatch(text) else _new(field, text)
    for rival in find_alternatives({path}):
        leaves.pop(tuple(rival.split(".")), None)
    leaves[where] = Leaf(raw, f"{OVERRIDE_SOURCE} {path}", None)


def _no_such(path: str, text: object) -> InputError:
    if is_table(tuple(path.split("."))):
        within = ", ".join(p for p in index_fields() if p.startswith(f"{path}."))
        return _wrong(path, text, "a field", f"this is a table: name one of {within[:300]}")
    hint = suggest_name(path, [p for p in index_fields() if p not in NOT_SETTABLE])
    return _wrong(path, text, "the path of a field", f"no such field: {hint.remedy}")


def _wrong(path: str, text: object, allowed: str, remedy: str) -> InputError:
    return InputError([Fault(OVERRIDE_SOURCE, None, fit_on_line(path, 80), shorten_value(text), allowed, remedy)])


def _allowed(field: Field) -> str:
    return field.kind.allowed if field.kind else "a value"


def _new(field: Field, text: str) -> object:
    """The text as a file would hold it: a quantity, or yes/no, a whole number, a word, a point."""
    plain = text.strip()
    if field.kind is None:
        if plain in ("true", "false"):
            return plain == "true"
        if re.fullmatch(r"[0-9]{1,6}", plain):
            return int(plain)
        if field.path.startswith("coordinates."):
            return [part.strip() for part in plain.split(",")]
        return plain
    return {"value": plain, "source": "estimated", "note": "set for this run"}


def _share(leaves: Leaves, file: str, field: Field, text: str) -> object:
    """A percentage of the scenario's own value, or of the default where it gives none."""
    match = PERCENTAGE_PATTERN.fullmatch(text)
    kind = field.kind
    if match is None or kind is None:
        raise _wrong(field.path, text, _allowed(field), "give a quantity with its unit")
    share = float(match[1]) / 100
    given = _own(leaves, field, kind, text)
    note = f"{given.source.note}; {match[1]} % of it for this run".removeprefix("; ")
    table = {"source": given.source.kind, "note": note}
    if given.si is not None:
        return {"value": write_quantity(given.si * share, kind, given.power), **table}
    if given.touch_force is not None:
        return {"value": f"{given.touch_force * share!r} N", **table}
    return _fewer_swings(given, field, share, text) | table


def _fewer_swings(given: QuantityField, field: Field, share: float, text: str) -> dict[str, object]:
    """Friction by swings: that share of the torque makes so many more swings."""
    count, start = given.swings or (1.0, 0.0)
    if share == 0:
        raise _wrong(field.path, text, "more than 0 %", 'give a torque instead, such as "0 N·mm"')
    return {"swings": count / share, "from": f"{start!r} rad"}


def _own(leaves: Leaves, field: Field, kind: Kind, text: str) -> QuantityField:
    leaf = leaves.get(tuple(field.path.split(".")))
    if leaf is not None:
        try:
            return read_quantity(leaf.raw, kind, "measured")
        except ValueError:
            remedy = "the scenario's own value is faulty: mend it first, or give a quantity"
            raise _wrong(field.path, text, kind.allowed, f"{remedy} (it says {shorten_value(leaf.raw)})") from None
    rival = next((r for r in sorted(find_alternatives({field.path})) if tuple(r.split(".")) in leaves), None)
    if rival is not None:
        remedy = f"the scenario gives {rival} instead: change that, or give a quantity here"
        raise _wrong(field.path, text, kind.allowed, remedy)
    default = defaults.find_default(field.path, *_key(leaves))
    if default is None:
        remedy = "neither the scenario nor the defaults have a value to take a share of: give a quantity"
        raise _wrong(field.path, text, kind.allowed, remedy)
    return default


def _key(leaves: Leaves) -> tuple[int, bool]:
    number = leaves[("key_number",)].raw if ("key_number",) in leaves else 40
    number = number if isinstance(number, int) and 1 <= number <= 88 else 40
    sharp = leaves[("key", "sharp")].raw if ("key", "sharp") in leaves else defaults.is_sharp(number)
    return number, bool(sharp)
