"""One guard for all frozen records of a process that stays.

Floor 8. One subject: what frozen records hold beside their fields. Laws here: whoever
sets or deletes a field is refused with the same error and the same words as before.

A frozen dataclass of slots is made twice, and the two methods that refuse, made anew
for each, hold on to the first making: 5 kB a record with CPython 3.11, and there are
more than three hundred (`python -m tests.bench.rest`). Before 3.11.3 the second making
holds on to the first one by its `__weakref__` as well (CPython issue 102069).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import FrozenInstanceError
from types import ModuleType
from typing import NoReturn


def _refuse_to_set(_record: object, name: str, _value: object) -> NoReturn:
    message = f"cannot assign to field {name!r}"
    raise FrozenInstanceError(message)


def _refuse_to_delete(_record: object, name: str) -> NoReturn:
    message = f"cannot delete field {name!r}"
    raise FrozenInstanceError(message)


_GUARDS: Mapping[str, Callable[..., NoReturn]] = {
    "__setattr__": _refuse_to_set,
    "__delattr__": _refuse_to_delete,
}


def share_guards(modules: Iterable[ModuleType]) -> None:
    """Let all frozen dataclasses of these modules refuse by the same two methods."""
    for module in modules:
        for kind in tuple(vars(module).values()):
            if isinstance(kind, type) and _is_frozen(kind):
                for name, guard in _GUARDS.items():
                    setattr(kind, name, guard)
                if _is_anothers(vars(kind).get("__weakref__"), kind):
                    delattr(kind, "__weakref__")


def _is_frozen(kind: type) -> bool:
    """Whether the class itself, and not only one it comes from, is a frozen one."""
    made = vars(kind).get("__dataclass_params__")
    return made is not None and bool(made.frozen)


def _is_anothers(descriptor: object, kind: type) -> bool:
    """Whether a descriptor was made for another class than the one that has it."""
    return getattr(descriptor, "__objclass__", kind) is not kind
