"""Records that cost little to make.

Floor 2. One subject: a second way to construct a record. Laws here: what comes out is
the very same kind of record, a frozen one closed against every change; only the making
differs; source text is generated from names of fields alone.

A frozen dataclass sets each of its fields through `object.__setattr__`, about 0.12 µs
apiece (measured with CPython 3.11), and a dose is told of in a dozen records: a third
of the time of a rehearsal went there.
"""

from collections.abc import Callable
from dataclasses import MISSING, Field, fields
from typing import Any, ParamSpec, TypeVar, cast

Given = ParamSpec("Given")
Record = TypeVar("Record")


def maker(record: Callable[Given, Record]) -> Callable[Given, Record]:
    """A function that makes records of a class as its constructor does, but quicker.

    `record` is a slotted, keyword-only dataclass. A frozen one is filled while it is
    still open and closed before anyone else has seen it. Worth its name only where one
    is made for each dose or turn.
    Raises: TypeError for a class that does more in its constructor than set fields.
    """
    closed = cast("type[Any]", record)
    if hasattr(closed, "__post_init__") or not all(f.init for f in fields(closed)):
        message = f"{closed.__name__} is more than its fields; call its constructor"
        raise TypeError(message)
    names: dict[str, Any] = {
        "_new": object.__new__,
        "_closed": closed,
        "_not_given": MISSING,
    }
    source = _source(closed, names)
    exec(source, names)  # noqa: S102 -- names of fields, as dataclasses itself does
    return cast("Callable[Given, Record]", names["make"])


def _open(closed: type[Any]) -> type[Any]:
    """The class without its rules on making and setting; its layout is the same."""
    plain = {
        "__slots__": (),
        "__init__": object.__init__,
        "__setattr__": object.__setattr__,
        "__delattr__": object.__delattr__,
    }
    return type(f"Open{closed.__name__}", (closed,), plain)


def _source(closed: type[Any], names: dict[str, Any]) -> str:
    """Text of the function; the defaults it refers to are added to `names`."""
    parameters = ", ".join(_parameter(field, names) for field in fields(closed))
    settings = "".join(_setting(field, names) for field in fields(closed))
    opening, closing = "_new(_closed)", ""
    if "__setattr__" in vars(closed):
        names["_open"] = _open(closed)
        opening, closing = "_open()", " record.__class__ = _closed\n"
    return (
        f"def make(*, {parameters}):\n"
        f" record = {opening}\n"
        f"{settings}{closing}"
        " return record\n"
    )


def _parameter(field: Field[Any], names: dict[str, Any]) -> str:
    if field.default_factory is not MISSING:
        return f"{field.name}=_not_given"
    if field.default is MISSING:
        return field.name
    names[f"_default_{field.name}"] = field.default
    return f"{field.name}=_default_{field.name}"


def _setting(field: Field[Any], names: dict[str, Any]) -> str:
    if field.default_factory is MISSING:
        return f" record.{field.name} = {field.name}\n"
    names[f"_fresh_{field.name}"] = field.default_factory
    return (
        f" record.{field.name} = _fresh_{field.name}() "
        f"if {field.name} is _not_given else {field.name}\n"
    )
