"""Puts a changed module in the place of the loaded one, in whoever already holds it.

What other modules have imported stays the same object: functions are given other code
and other defaults, also those that a function of the module has made and a table holds;
numbers are set wherever their name went.
"""

import dataclasses
import gc
import re
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time, timedelta
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from functools import cached_property
from types import CodeType, FunctionType, ModuleType

SINGLE = (
    *(int, float, str, bytes, type(None), Decimal, Fraction),
    *(timedelta, date, time, Enum, re.Pattern),
)
OURS = {"slackwater", "tests"}
Functions = Mapping[str, Sequence[FunctionType]]


def living_functions() -> Functions:
    """Every function of the daemon that exists by now, by the module it is of."""
    # What was frozen would not be among the objects.
    gc.unfreeze()
    found: defaultdict[str, list[FunctionType]] = defaultdict(list)
    for one in gc.get_objects():
        if isinstance(one, FunctionType) and isinstance(one.__module__, str):
            found[one.__module__].append(one)
    gc.freeze()
    return dict(found)


class Graft:
    """One module changed in place.

    Attributes:
        done: What was changed, by name; empty if the change reached nothing.
    """

    def __init__(
        self, module: ModuleType, codes: tuple[CodeType, CodeType], living: Functions
    ) -> None:
        self.module = module
        self.done: list[str] = []
        self.seen: set[int] = set()
        sound, changed = codes
        fresh = {"__name__": module.__name__, "__file__": module.__file__}
        exec(changed, fresh)  # noqa: S102  # our own source with one part replaced
        for old, new in parts_that_differ(sound, changed):
            for function in living.get(module.__name__, ()):
                self.graft_code(function, old, new)
        for name, new_value in fresh.items():
            if name in vars(module) and not name.startswith("__"):
                self.graft_name(name, vars(module)[name], new_value)

    def graft_code(self, function: FunctionType, old: CodeType, new: CodeType) -> None:
        """A function that runs the old code runs the new one."""
        is_same = likeness(function.__code__) == likeness(old)
        if is_same and old.co_freevars == new.co_freevars:
            function.__code__ = new
            self.done.append(function.__qualname__)

    def graft_name(self, name: str, old: object, new: object) -> None:
        """One name of the module."""
        if (is_plain(old) and is_plain(new)) or not is_of_one_shape(old, new):
            if not is_plain(old) or differs(old, new):
                self.done.append(name)
                spread(name, old, new)
        else:
            self.graft(name, old, new)

    def graft(self, name: str, old: object, new: object) -> None:
        """One object, and all that it holds and nobody can replace."""
        if old is new or id(old) in self.seen:
            return
        self.seen.add(id(old))
        if isinstance(old, FunctionType) and isinstance(new, FunctionType):
            self.graft_function(name, old, new)
        elif isinstance(old, type) and isinstance(new, type):
            if old.__module__ == self.module.__name__:
                self.graft_class(name, old, new)
        else:
            self.graft_parts(name, old, new)

    def graft_function(self, name: str, old: FunctionType, new: FunctionType) -> None:
        """Defaults, what is closed over, and whatever function is wrapped."""
        if old.__module__ != self.module.__name__:
            return
        for kept in ("__defaults__", "__kwdefaults__"):
            if differs(getattr(old, kept), getattr(new, kept)):
                setattr(old, kept, getattr(new, kept))
                self.done.append(name)
        cells = zip(old.__closure__ or (), new.__closure__ or (), strict=False)
        for mine, other in cells:
            self.graft(name, mine.cell_contents, other.cell_contents)
        self.graft_parts(name, old, new)

    def graft_class(self, name: str, old: type, new: type) -> None:
        """Methods and plain attributes of a class of this module."""
        for key, other in vars(new).items():
            mine = vars(old).get(key)
            if is_plain(mine) and is_plain(other) and not issubclass(old, Enum):
                if not key.startswith("__") and differs(mine, other):
                    setattr(old, key, other)
                    self.done.append(f"{name}.{key}")
            elif key not in {"__dict__", "__weakref__", "__dataclass_fields__"}:
                self.graft(f"{name}.{key}", mine, other)

    def graft_parts(self, name: str, old: object, new: object) -> None:
        """What a wrapper wraps, a table holds, a record is made of."""
        for key in ("__wrapped__", "__func__", "fget", "fset", "func"):
            if is_wrapper(old) and hasattr(old, key) and hasattr(new, key):
                self.graft(name, getattr(old, key), getattr(new, key))
        for mine, other in zip(parts_of(old), parts_of(new), strict=False):
            self.graft(name, mine, other)
        if dataclasses.is_dataclass(old) and not isinstance(old, type):
            self.graft_record(name, old, new)

    def graft_record(self, name: str, old: object, new: object) -> None:
        """The fields of a record that the module made."""
        for field in dataclasses.fields(old):  # type: ignore[arg-type]  # looked at
            mine, other = getattr(old, field.name), getattr(new, field.name, None)
            if is_plain(mine) or is_plain(other):
                if not is_plain(mine) or differs(mine, other):
                    object.__setattr__(old, field.name, other)
                    self.done.append(name)
            else:
                self.graft(name, mine, other)


def likeness(code: CodeType) -> tuple[object, ...]:
    """What tells code from other code of a module, however often it has run.

    Code that has run compares unequal to the same code that has not (CPython 3.11).
    """
    names = code.co_names, code.co_varnames, code.co_freevars
    return code.co_qualname, code.co_firstlineno, code.co_code, names, code.co_linetable


def parts_that_differ(
    old: CodeType, new: CodeType
) -> Iterator[tuple[CodeType, CodeType]]:
    """The functions of two modules that are not the same, the inner ones too."""
    mine, others = (
        [one for one in code.co_consts if isinstance(one, CodeType)]
        for code in (old, new)
    )
    for one, other in zip(mine, others, strict=False):
        if one != other:
            yield one, other
            yield from parts_that_differ(one, other)


def parts_of(value: object) -> Sequence[object]:
    """What a table holds, in order; empty for what is none."""
    if isinstance(value, Mapping):
        return list(value.values())
    return list(value) if isinstance(value, tuple | list) else []


def is_of_one_shape(old: object, new: object) -> bool:
    """Whether one table or record can be changed into the other, part by part."""
    mine, others = parts_of(old), parts_of(new)
    if type(old).__name__ != type(new).__name__ or len(mine) != len(others):
        return False
    return all(map(is_of_one_shape, mine, others))


def is_wrapper(value: object) -> bool:
    """Whether this may hold a function of the module."""
    known = (property, staticmethod, classmethod, cached_property, FunctionType)
    return isinstance(value, known) or hasattr(value, "cache_clear")


def is_plain(value: object) -> bool:
    """Whether a value holds no function and no object of a class of the module."""
    if isinstance(value, Mapping):
        return all(is_plain(part) for pair in value.items() for part in pair)
    if isinstance(value, tuple | list | set | frozenset):
        return all(is_plain(part) for part in value)
    return isinstance(value, SINGLE)


def differs(old: object, new: object) -> bool:
    """Whether two plain values are not the same; 1 and True are not."""
    if isinstance(old, set | frozenset) and isinstance(new, set | frozenset):
        return old != new
    return repr(old) != repr(new) if is_plain(old) else old is not new and old != new


def spread(name: str, old: object, new: object) -> None:
    """Set a value wherever it was imported by its name."""
    for title, module in list(sys.modules.items()):
        if title.partition(".")[0] in OURS and vars(module).get(name) is old:
            setattr(module, name, new)


def forget_answers() -> None:
    """Empty every memory of answers that functions of the daemon keep."""
    for title, module in list(sys.modules.items()):
        if title.partition(".")[0] != "slackwater":
            continue
        for value in list(vars(module).values()):
            clear = getattr(value, "cache_clear", None)
            if clear is not None and not isinstance(value, type):
                clear()
