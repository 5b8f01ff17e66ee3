"""The base class of everything that can be set, and small decibel and angle helpers.

A settable thing knows the bounds, unit and source of each of its fields, refuses a mistyped
attribute, and turns into and out of plain dictionaries. All that is wrong with a dictionary is
reported at once, each point with the field's path, the value and the allowed range.
"""

from __future__ import annotations

import copy
import difflib
import math
import reprlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
import param

__all__ = [
    "Problem",
    "Settable",
    "SettingError",
    "amplitude",
    "choice",
    "decibels",
    "rule_of",
    "unit_of",
]

LONGEST_TEXT = 2000
_SHORT = reprlib.Repr()  # looks at the first few entries only, however long a list is
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 60


def decibels(amplitude_ratio: Any, floor_db: float = -300.0) -> Any:
    """Level of an amplitude ratio, 20 log10 |a|, never below ``floor_db`` (dB)."""
    smallest = 10.0 ** (floor_db / 20.0)
    return 20.0 * np.log10(np.maximum(np.abs(amplitude_ratio), smallest))


def amplitude(level_db: Any) -> Any:
    """Amplitude ratio of a level, 10^(L/20)."""
    return 10.0 ** (np.asarray(level_db) / 20.0)


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one field: where it is, what must hold, what was given, what to try."""

    path: str
    rule: str
    given: str
    hint: str = ""

    def __str__(self) -> str:
        text = f"{self.path} {self.rule}"
        if self.given:
            text += f"; you gave {self.given}"
        return text + "." + (f" {self.hint}" if self.hint else "")


class SettingError(ValueError):
    """One or more fields are wrong; ``problems`` lists all of them."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


def choice(default: str, options: Iterable[str], label: str, doc: str) -> Any:
    """A field that takes one of a few words."""
    return param.Selector(default=default, objects=list(options), label=label, doc=doc)


def unit_of(parameter: Any) -> str:
    """The unit written in parentheses at the end of a field's label, or an empty string."""
    label = parameter.label or ""
    return label[label.rindex("(") + 1 : -1] if label.endswith(")") and "(" in label else ""


def _number(value: float) -> str:
    text = str(int(value)) if float(value).is_integer() else f"{value:g}"
    return text.replace("-", "−")


def rule_of(parameter: Any) -> str:
    """What a field takes, in words, such as ``must be a number from 0 to 35 °C``."""
    if isinstance(parameter, param.Selector):
        return "must be one of " + ", ".join(str(o) for o in parameter.objects)
    if isinstance(parameter, param.Boolean):
        return "must be true or false"
    if isinstance(parameter, param.Number):
        kind = "a whole number" if isinstance(parameter, param.Integer) else "a number"
        low, high = parameter.bounds or (None, None)
        unit = unit_of(parameter)
        span = ""
        if low is not None and high is not None:
            span = f" from {_number(low)} to {_number(high)}"
        elif low is not None:
            span = f" of at least {_number(low)}"
        return f"must be {kind}{span}" + (f" {unit}" if unit else "")
    if isinstance(parameter, param.String):
        return f"must be text of at most {LONGEST_TEXT} characters"
    if isinstance(parameter, param.List):
        return "must be a list"
    if isinstance(parameter, param.ClassSelector):
        return "must be a table of fields"
    return "must be of the right kind"


def _shown(value: Any) -> str:
    try:
        text = _SHORT.repr(value)
    except ValueError:  # Python refuses to write out a whole number of more than 4300 digits
        return "a number too long to show"
    return text if len(text) <= 60 else text[:57] + "..."


def _within(path: str, outer: str) -> bool:
    """Whether a path is another or lies inside it."""
    return not outer or path == outer or path.startswith((f"{outer}.", f"{outer}["))


def _is_text(value: Any) -> bool:
    """Whether this is a string that a file can hold (lone surrogates cannot be written)."""
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        return False
    return not any("\ud800" <= c <= "\udfff" for c in value)


def _is_list(value: Any) -> bool:
    return isinstance(value, (list, tuple))


def _is_built(value: Any) -> bool:
    """Whether a field's value is made of settable things, so that it can be looked at further."""
    items = value if isinstance(value, list) else [value]
    return bool(items) and all(isinstance(i, Settable) for i in items)


def _near(word: str, words: Iterable[str]) -> str:
    match = difflib.get_close_matches(str(word), list(words), n=1)
    return f"Did you mean {match[0]}?" if match else ""


def _join(path: str, field: str) -> str:
    return f"{path}.{field}" if path else field


class Settable(param.Parameterized):
    """Base of all settable things.

    Raises
    ------
    SettingError
        On construction or assignment when a name is unknown or a value is outside its bounds.
    """

    REQUIRED: ClassVar[tuple[str, ...]] = ()

    def __init__(self, **values: Any) -> None:
        built, problems = self._read(values, type(self).__name__, require=False)
        if problems:
            raise SettingError(problems)
        super().__init__(**built)

    def __setattr__(self, field: str, value: Any) -> None:
        if field == "name" or field.startswith("_"):
            super().__setattr__(field, value)
            return
        if field not in self.fields():
            where = type(self).__name__
            raise SettingError(
                [Problem(_join(where, field), "is not a field", "", _near(field, self.fields()))]
            )
        built, problems = self._value(field, value, type(self).__name__)
        if problems:
            raise SettingError(problems)
        super().__setattr__(field, built)

    @classmethod
    def fields(cls) -> tuple[str, ...]:
        """Names of the settable fields, in the order they are declared."""
        return tuple(n for n in cls.param if n != "name")

    @classmethod
    def _value(cls, field: str, value: Any, path: str) -> tuple[Any, list[Problem]]:
        """Turn a plain value into what the field holds; collect what is wrong with it."""
        parameter = cls.param[field]
        here = _join(path, field)

        def wrong() -> list[Problem]:
            return [Problem(here, rule_of(parameter), _shown(value))]

        if value is None:
            return value, [] if parameter.allow_None else wrong()
        if isinstance(parameter, param.List):
            return cls._items(parameter, value, here) if _is_list(value) else (value, wrong())
        if isinstance(parameter, param.Selector):
            if isinstance(value, str) and value in parameter.objects:
                return value, []
            hint = _near(str(value), [str(o) for o in parameter.objects])
            return value, [Problem(here, rule_of(parameter), _shown(value), hint)]
        if isinstance(parameter, param.Boolean):
            return value, [] if isinstance(value, bool) else wrong()
        if isinstance(parameter, param.ClassSelector):
            kind: Any = parameter.class_
            if isinstance(value, kind):
                return value, []
            if not isinstance(value, Mapping):
                return value, wrong()
            # a table that says only some fields keeps the others as they are by default here
            return kind._build({**parameter.default.to_dict(), **value}, here)
        if isinstance(parameter, param.Number):
            built, fits = cls._bounded(parameter, value)
            return built, [] if fits else wrong()
        return value, [] if _is_text(value) else wrong()

    @staticmethod
    def _bounded(parameter: Any, value: Any) -> tuple[Any, bool]:
        """A number as the field holds it, and whether the field takes it."""
        if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
            return value, False
        if isinstance(value, (float, np.floating)) and not math.isfinite(value):
            return value, False
        whole = isinstance(parameter, param.Integer)
        if whole and value != int(value):
            return value, False
        low, high = parameter.bounds or (None, None)
        if (low is not None and value < low) or (high is not None and value > high):
            return value, False
        return (int(value) if whole else float(value)), True

    @staticmethod
    def _items(parameter: Any, value: Any, here: str) -> tuple[Any, list[Problem]]:
        low, high = parameter.bounds or (0, None)
        if len(value) < low or (high is not None and len(value) > high):
            rule = f"must have {low} to {high} entries"
            return value, [Problem(here, rule, f"{len(value)} entries")]
        kind: Any = parameter.item_type
        built: list[Any] = []
        problems: list[Problem] = []
        for n, item in enumerate(value):
            if isinstance(kind, type) and issubclass(kind, Settable) and isinstance(item, Mapping):
                item, found = kind._build(item, f"{here}[{n}]")
                problems += found
            elif kind is not None and not isinstance(item, kind):
                what = getattr(kind, "__name__", "the right kind")
                rule = "must be a list" if kind is list else f"must be a table of a {what}'s fields"
                problems.append(Problem(f"{here}[{n}]", rule, _shown(item)))
                item = kind()
            built.append(item)
        return built, problems

    @classmethod
    def _read(
        cls, data: Mapping[str, Any], path: str, require: bool
    ) -> tuple[dict[str, Any], list[Problem]]:
        built: dict[str, Any] = {}
        problems: list[Problem] = []
        for field, value in data.items():
            if field not in cls.fields():
                hint = _near(field, cls.fields()) or "Fields here: " + ", ".join(cls.fields()) + "."
                here = _join(path, field)
                problems.append(Problem(here, "is not a field", "", hint))
                continue
            built[field], found = cls._value(field, value, path)
            problems += found
            if found and not _is_built(built[field]):
                del built[field]  # the default stands in while the rest is looked at
        for field in cls.REQUIRED if require else ():
            if field not in data:
                rule = rule_of(cls.param[field])
                problems.append(Problem(_join(path, field), f"is missing and {rule}", ""))
        return built, problems

    @classmethod
    def _build(cls, data: Mapping[str, Any], path: str) -> tuple[Any, list[Problem]]:
        """What can be made of ``data``, and all that is wrong with it.

        Wrong fields stand at their defaults, so that what holds between fields is still looked
        at; such a problem is left out where one of its own fields was wrong already.
        """
        built, problems = cls._read(data, path, require=True)
        made = cls(**built)
        told = [p.path for p in problems]
        problems += [p for p in made.check(path) if not any(_within(t, p.path) for t in told)]
        return made, problems

    def check(self, path: str = "") -> list[Problem]:
        """Problems between fields that no single bound can state; none by default."""
        return []

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """Build from plain values.

        Raises
        ------
        SettingError
            With every unknown, missing, wrong-typed or out-of-range field in one error.
        """
        if not isinstance(data, Mapping):
            raise SettingError([Problem(cls.__name__, "must be a table of fields", _shown(data))])
        made, problems = cls._build(data, "")
        if problems:
            raise SettingError(problems)
        return made

    def to_dict(self) -> dict[str, Any]:
        """All fields as plain values (dict, list, str, int, float, bool); unset ones left out."""
        plain: dict[str, Any] = {}
        for field in self.fields():
            value = getattr(self, field)
            if isinstance(value, Settable):
                plain[field] = value.to_dict()
            elif isinstance(value, list):
                plain[field] = [
                    v.to_dict() if isinstance(v, Settable) else copy.deepcopy(v) for v in value
                ]
            elif value is not None:
                plain[field] = value
        return plain

    def differences(self, base: Settable | None = None) -> dict[str, Any]:
        """The fields that differ from ``base`` (by default: from a new one), as plain values.

        Lists are given whole, their entries without what is default in them; :meth:`from_dict`
        makes the same thing again.
        """
        other = base if base is not None else type(self)()
        plain: dict[str, Any] = {}
        for field in self.fields():
            value, before = getattr(self, field), getattr(other, field)
            if isinstance(value, Settable):
                inner = value.differences(before)
                if inner:
                    plain[field] = inner
            elif isinstance(value, list):
                if value:
                    plain[field] = [_entry(v) for v in value]
            elif value != before and value is not None:
                plain[field] = value
        return plain

    def copy(self, **changes: Any) -> Self:
        """A deep copy, with some fields changed."""
        if not changes:
            return copy.deepcopy(self)  # a tenth of the time of building it anew
        return type(self).from_dict({**self.to_dict(), **changes})


def _entry(value: Any) -> Any:
    """A list entry as plain values: what is required, and what is not default."""
    if not isinstance(value, Settable):
        return value
    required = {f: getattr(value, f) for f in value.REQUIRED}
    return {**required, **value.differences()}
