"""The common ground of a scenario's sections: strict, no unknown keys, every quantity with unit and range."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SkipValidation,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
)
from pydantic.fields import FieldInfo

from sim.fields.quantity_field import CONTROL_CHARACTERS, Form, Kind, QuantityField, make_field_error, read_quantity
from sim.units import DIMENSIONS, STIFFNESS, Dimension

Quantity = Annotated[SkipValidation[QuantityField], WithJsonSchema({})]
"""A validated quantity; ``Section`` does the reading by the field's own ``Kind``, ``schema.py`` describes it."""


def _on_one_line(name: str) -> str:
    if CONTROL_CHARACTERS.search(name):
        remedy = "a control character or a line break is in it: write it anew"
        raise make_field_error("not plain", name, "a text on one line, of letters, figures and signs", remedy)
    return name


Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_on_one_line)]
"""What a person calls something; shown on terminals, pages, figures."""

Measured = Quantity | None
"""A quantity that may be left to the defaults."""


class Section(BaseModel):
    """One table of a scenario."""

    model_config = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False, frozen=True, arbitrary_types_allowed=True, title=None
    )

    @field_validator("*", mode="before")
    @classmethod
    def _read(cls, raw: Any, info: ValidationInfo) -> Any:
        kind = get_field_kind(cls.model_fields[info.field_name or ""])
        if kind is None:
            return raw
        return read_quantity(raw, kind, "measured")


def quantity(unit: str, minimum: float, maximum: float, doc: str, form: Form = "plain") -> Any:
    """A field that takes a quantity in ``unit`` (or any unit of its dimension) within a range."""
    return Field(default=None, description=doc, json_schema_extra=_extra(unit, minimum, maximum, form))


def required(unit: str, minimum: float, maximum: float, doc: str) -> Any:
    """As ``quantity``, but the file must give it."""
    return Field(description=doc, json_schema_extra=_extra(unit, minimum, maximum, "plain"))


def _extra(unit: str, minimum: float, maximum: float, form: Form) -> dict[str, Any]:
    return {"x-unit": unit, "x-minimum": minimum, "x-maximum": maximum, "x-form": form}


def get_field_kind(field: FieldInfo) -> Kind | None:
    """What a field accepts, or None for a field that is no quantity."""
    extra = field.json_schema_extra
    if not isinstance(extra, dict) or "x-unit" not in extra:
        return None
    unit, low, high, form = (extra[f"x-{name}"] for name in ("unit", "minimum", "maximum", "form"))
    return Kind(_dimension(str(unit), str(form)), str(unit), float(low), float(high), form)  # type: ignore[arg-type]


def _dimension(unit: str, form: str) -> Dimension:
    if form == "contact stiffness":
        return STIFFNESS
    return next(d for d in DIMENSIONS.values() if d.has_unit(unit))
