"""A table in which something was refused, read as far as it goes.

Floor 6. One subject: what can still be judged beside a fault. Laws here: what was
refused has no value, neither its default nor a guess; whoever asks for it judges
nothing, so that one fault is told once and hides no other.
"""

from collections.abc import Iterable, Mapping

from pydantic import ValidationError, create_model

from slackwater.outside.settings.tables import (
    Findings,
    ModelT,
    TableModel,
    checked,
    inner_model,
)

Place = tuple[int | str, ...]


def readable(
    model: type[ModelT],
    raw: object,
    table: str,
    findings: Findings,
    also: Iterable[str] = (),
) -> ModelT | None:
    """The table as its model, with everything wrong noted; None when it is no table.

    A key that was refused has no value there: asking for it raises UnreadError, which
    `Findings.judge` takes for nothing to say.
    """
    whole = checked(model, raw, table, findings, also)
    return whole if whole is not None else _read(model, raw)


def is_whole(table: TableModel) -> bool:
    """Whether nothing of a table was refused."""
    return type(table).model_fields.keys() <= table.__dict__.keys()


def _read(model: type[ModelT], raw: object) -> ModelT | None:
    """The table with the keys that can be read; None when it is no table."""
    if not isinstance(raw, dict):
        return None
    faults = _faults(model, raw)
    values = _sound(model, raw, model.model_fields.keys() - faults.keys())
    for key in faults.keys() & raw.keys() & model.model_fields.keys():
        part = _part(model, key, raw[key], faults[key])
        if part is not None:
            values[key] = part
    made = model.model_construct(set(values), **values)
    for key in _lost(model, raw, faults):
        # What was left out has its default; what was refused has nothing.
        if key not in raw or key not in values:
            made.__dict__.pop(key, None)
    return made


def _lost(
    model: type[TableModel], raw: Mapping[str, object], faults: Iterable[str]
) -> set[str]:
    """Keys without a value: those at fault, and any that a stray key may stand for."""
    fields, lost = model.model_fields.keys(), set(faults)
    return lost | (fields - raw.keys()) if lost - fields else lost


def _faults(model: type[TableModel], raw: dict[str, object]) -> dict[str, list[Place]]:
    """Where in each key of a table something was refused; () is the key itself."""
    found: dict[str, list[Place]] = {}
    try:
        model.model_validate(raw)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            key, *place = detail["loc"]
            found.setdefault(str(key), []).append(tuple(place))
    return found


def _sound(
    model: type[TableModel], raw: Mapping[str, object], keys: Iterable[str]
) -> dict[str, object]:
    """The values of keys with which nothing is wrong."""
    known = model.model_fields
    fields = {key: (known[key].annotation, known[key]) for key in keys}
    part = create_model("Part", __base__=TableModel, **fields)  # type: ignore[call-overload]  # one field for each key
    return dict(part.model_validate({key: raw[key] for key in fields if key in raw}))


def _part(
    model: type[TableModel], key: str, value: object, places: list[Place]
) -> object:
    """What can be read of a key's value; None when nothing can."""
    if () in places:
        return None
    inner = inner_model(model.model_fields[key])
    if isinstance(value, dict):
        if inner is None:
            bad = {place[0] for place in places}
            kept = {name: item for name, item in value.items() if name not in bad}
            return _sound(model, {key: kept}, (key,))[key] if kept else None
        tables = {name: _read(inner, item) for name, item in value.items()}
        return {name: item for name, item in tables.items() if item is not None}
    if isinstance(value, list) and inner is not None:
        read = [_read(inner, item) for item in value]
        return None if None in read else read
    return None
