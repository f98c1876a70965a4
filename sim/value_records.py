"""Records that are values: what they hold is read-only, ``==`` and ``hash`` go by it, ``repr`` fits on a screen."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import wraps
from types import MappingProxyType
from typing import Any, TypeVar

T = TypeVar("T")
K = TypeVar("K")
V = TypeVar("V")


class ReadOnly(dict[K, V]):
    """A dict that refuses every change."""

    def _refuse(self, *args: Any, **more: Any) -> Any:
        raise TypeError("what a record holds is read-only: make a dict of it, and another record of that")

    __setitem__ = __delitem__ = __ior__ = clear = pop = popitem = setdefault = update = _refuse

    def __reduce__(self) -> tuple[type, tuple[dict[K, V]]]:
        return type(self), (dict(self),)


def value_record(cls: type[T]) -> type[T]:
    """A decorator over ``@dataclass(frozen=True)``: arrays (as views) and mappings become read-only.

    Two records are equal where all that they hold is: arrays number by number, NaN to NaN.
    """
    names = tuple(f.name for f in fields(cls))  # type: ignore[arg-type]
    made = cls.__init__

    @wraps(made)
    def init(self: Any, *args: Any, **more: Any) -> None:
        made(self, *args, **more)
        set_state(self, get_state(self))

    def get_state(self: Any) -> dict[str, Any]:
        return {name: getattr(self, name) for name in names}

    def set_state(self: Any, state: dict[str, Any]) -> None:
        for name, value in state.items():
            object.__setattr__(self, name, _read_only(value))

    methods = {
        "__init__": init, "__getstate__": get_state, "__setstate__": set_state,
        "__eq__": _equal, "__hash__": _hash, "__repr__": _repr,
    }  # fmt: skip
    for name, method in methods.items():
        setattr(cls, name, method)
    return cls


def _is_array(value: object) -> bool:
    """Told by its name: numpy is not loaded for a record that holds none."""
    return type(value).__name__ == "ndarray"


def _read_only(value: Any) -> Any:
    if _is_array(value):
        view = value.view()
        view.flags.writeable = False
        return view
    if type(value) in (dict, MappingProxyType):
        return ReadOnly({key: _read_only(item) for key, item in value.items()})
    return tuple(map(_read_only, value)) if type(value) is tuple and value and _is_array(value[0]) else value


def _compared(record: Any) -> list[Any]:
    return [getattr(record, f.name) for f in fields(record) if f.compare]


def _equal(self: Any, other: object) -> bool:
    return _same(_compared(self), _compared(other)) if type(other) is type(self) else NotImplemented


def _same(a: Any, b: Any) -> bool:
    if a is b:
        return True
    if _is_array(a):
        if not _is_array(b) or a.shape != b.shape or a.dtype != b.dtype:
            return False
        if names := a.dtype.names:
            return all(_same(a[name], b[name]) for name in names)
        return bool(((a == b) | ((a != a) & (b != b))).all())
    if isinstance(a, Mapping):
        return isinstance(b, Mapping) and a.keys() == b.keys() and all(_same(a[key], b[key]) for key in a)
    if isinstance(a, list | tuple):
        return type(a) is type(b) and len(a) == len(b) and all(map(_same, a, b))
    return bool(a == b or (a != a and b != b))


def _repr(self: Any) -> str:
    return _BRIEF.repr(self)


def _hash(self: Any) -> int:
    return hash(tuple(map(_hash_value, _compared(self))))


def _hash_value(value: Any) -> int:
    """The same for values that are the same; of an array by its shape alone."""
    if _is_array(value):
        return hash(value.shape)
    if isinstance(value, Mapping):
        return hash(frozenset((key, _hash_value(item)) for key, item in value.items()))
    if isinstance(value, list | tuple):
        return hash(tuple(map(_hash_value, value)))
    try:
        return hash(value) if value == value else 0
    except TypeError:  # a plain dataclass that holds what has no hash
        return _hash(value)


class _Brief(reprlib.Repr):
    """Arrays by their shape, records within records down to the second, numbers to six digits."""

    def repr_instance(self, x: Any, level: int) -> str:
        if not is_dataclass(x) or isinstance(x, type):
            return super().repr_instance(x, level)
        shown = [f for f in fields(x) if f.repr] if level > 0 else []
        inside = [f"{f.name}={self.repr1(getattr(x, f.name), level - 1)}" for f in shown]
        return f"{type(x).__name__}({', '.join(inside) if level > 0 else '...'})"

    def repr_ndarray(self, x: Any, level: int) -> str:
        return f"<{' x '.join(map(str, x.shape))} array>"

    def repr_ReadOnly(self, x: Any, level: int) -> str:  # noqa: N802 - reprlib goes by the type's name
        return self.repr_dict(x, level)

    def repr_float(self, x: float, level: int) -> str:
        return f"{x:.6g}"

    repr_float64 = repr_float


_BRIEF = _Brief()
_BRIEF.maxlevel = 2
_BRIEF.maxtuple = _BRIEF.maxlist = _BRIEF.maxdict = 4
