"""Whether a value rebuilt from stored text holds what its class says: text where text belongs, finite numbers."""

from __future__ import annotations

import math
import types
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

_T = TypeVar("_T")
_Check = Callable[[Any], bool]
MOST = 1 << 53
"""Whole numbers beyond this are none of ours, and no float holds them exactly."""


def shaped(value: _T) -> _T:
    """The dataclass itself, once every field, tuples and inner dataclasses included, holds what is annotated.

    Raises:
        ValueError: a field holds something else, a number that is not finite, or a text with control characters.
    """
    kind: Any = type(value)
    if not _check(kind)(value):
        raise ValueError(f"not a sound {type(value).__name__}")
    return value


@cache
def _check(hint: Any) -> _Check:
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Literal:
        return lambda value: isinstance(value, str | int) and value in inner
    if origin in (Union, types.UnionType):
        each = tuple(_check(i) for i in inner)
        return lambda value: any(check(value) for check in each)
    if origin is tuple:
        return _tuple(inner)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return lambda value: isinstance(value, Mapping)
    if is_dataclass(hint):
        return _dataclass(hint)
    return _PLAIN.get(hint, lambda value: True)


def _tuple(inner: tuple[Any, ...]) -> _Check:
    if len(inner) == 2 and inner[1] is Ellipsis:
        every = _check(inner[0])
        return lambda value: isinstance(value, tuple) and all(every(v) for v in value)
    each = tuple(_check(i) for i in inner)
    return lambda value: (
        isinstance(value, tuple) and len(value) == len(each) and all(c(v) for c, v in zip(each, value, strict=True))
    )


def _dataclass(hint: Any) -> _Check:
    hints = get_type_hints(hint)
    each = tuple((f.name, _check(hints[f.name])) for f in fields(hint))
    return lambda value: isinstance(value, hint) and all(check(getattr(value, name)) for name, check in each)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and abs(value) < MOST


_PLAIN: dict[Any, _Check] = {
    str: lambda value: isinstance(value, str) and (value.isprintable() or value.replace("\n", "").isprintable()),
    int: lambda value: isinstance(value, int) and not isinstance(value, bool) and abs(value) < MOST,
    float: _number,
    bool: lambda value: isinstance(value, bool),
    type(None): lambda value: value is None,
    datetime: lambda value: isinstance(value, datetime) and value.tzinfo is not None,
    date: lambda value: isinstance(value, date),
}
