"""Story files: what a keeper has, what happens, and what must come of it.

A story is a TOML file beside this one. It says only what differs from the house in
`home/`: tables of `[machine]`, `[plan]` and `[water]` are laid over its files, and
`without` takes keys out. A `[[case]]` is the same story with some keys more, and with
what happens in it besides.
"""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

Table = dict[str, Any]

FOLDER = Path(__file__).parent
HOME = FOLDER / "home"
# What lies over which file of the house.
FILES = {"machine": "slackwater.toml", "plan": "plan.toml", "water": "water.toml"}
HOURS = {"min": 1 / 60, "h": 1.0, "d": 24.0}
MICROLITRES = {"uL": 1, "mL": 1000}


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One story or one case of it.

    `begins` is wall time at the tank; `overlay` holds what lies over the house, by
    `machine`, `plan` and `water`. `unchecked` says why the plan's check is left out.
    """

    name: str
    tells: str
    begins: datetime
    lasts: timedelta
    overlay: Mapping[str, Table]
    without: tuple[str, ...]
    happens: tuple[Table, ...]
    expect: Table
    unchecked: str = ""


def all_stories() -> list[Story]:
    """Every story of the folder, case by case, in order of their names."""
    paths = sorted(FOLDER.glob("*.toml"))
    return [story for path in paths for story in stories_of(path)]


def stories_of(path: Path) -> Iterator[Story]:
    """The cases of one file, or the file itself when it has none."""
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    cases = told.pop("case", [])
    if not cases:
        yield _story(path.stem, told)
    for case in cases:
        named = case.pop("named")
        happens = told.get("happens", []) + case.pop("happens", [])
        whole = laid_over(told, case) | {"happens": happens}
        yield _story(f"{path.stem}: {named}", whole)


def laid_over(base: Table, overlay: Table) -> Table:
    """A table with another laid over it, key by key.

    A table over a list of tables speaks of their ids; a list takes a list's place.
    """
    result = dict(base)
    for key, value in overlay.items():
        before = result.get(key)
        if isinstance(before, dict) and isinstance(value, dict):
            result[key] = laid_over(before, value)
        elif isinstance(before, list) and isinstance(value, dict):
            result[key] = _laid_over_ids(before, value)
        else:
            result[key] = value
    return result


def house_of(story: Story, kind: str, more: Table | None = None) -> Table:
    """One file of the house as the story, and something later in it, has it."""
    text = (HOME / FILES[kind]).read_text(encoding="utf-8")
    table = laid_over(tomllib.loads(text), story.overlay.get(kind, {}))
    table = laid_over(table, more or {})
    for path in story.without:
        of_kind, *keys = path.split(".")
        if of_kind == kind:
            _take_out(table, keys)
    return table


def write_files(folder: Path, machine: Table, plan: Table) -> Path:
    """Write the two configuration files of a house; gives their directory."""
    folder.mkdir(parents=True)
    for name, table in ((FILES["machine"], machine), (FILES["plan"], plan)):
        lines = [f"{_key(key)} = {_toml(value)}\n" for key, value in table.items()]
        (folder / name).write_text("".join(lines), encoding="utf-8")
    return folder


def span_of(text: str) -> timedelta:
    """A time like "60 h", "10 min" or "4 d"."""
    number, unit = text.split()
    return timedelta(hours=float(number) * HOURS[unit])


def microlitres(text: str) -> int:
    """A volume like "36 mL" or "20001 uL"."""
    number, unit = text.split()
    return round(float(number) * MICROLITRES[unit])


def _story(name: str, told: Table) -> Story:
    rest = dict(told)
    story = Story(
        name=name,
        tells=rest.pop("tells"),
        begins=rest.pop("begins"),
        lasts=span_of(rest.pop("lasts")),
        overlay={kind: rest.pop(kind, {}) for kind in FILES},
        without=tuple(rest.pop("without", ())),
        happens=tuple(rest.pop("happens", ())),
        expect=rest.pop("expect"),
        unchecked=rest.pop("unchecked", ""),
    )
    if rest:
        message = f"{name}: nobody reads {', '.join(rest)}"
        raise ValueError(message)
    return story


def _laid_over_ids(before: list[Table], overlay: Table) -> list[Table]:
    known = {one["id"] for one in before}
    if not overlay.keys() <= known:
        message = f"{sorted(overlay)} are not all among {sorted(known)}"
        raise ValueError(message)
    return [laid_over(one, overlay.get(one["id"], {})) for one in before]


def _take_out(table: Table, keys: list[str]) -> None:
    """Take one key out; in a list of tables, the one with that id."""
    inner: Any = table
    for key in keys[:-1]:
        inner = inner[key] if isinstance(inner, dict) else _with_id(inner, key)
    if isinstance(inner, dict):
        del inner[keys[-1]]
    else:
        inner.remove(_with_id(inner, keys[-1]))


def _with_id(tables: list[Table], identity: str) -> Table:
    return next(one for one in tables if one["id"] == identity)


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


def _toml(value: object) -> str:
    """A value as TOML on one line; its strings and numbers are those of JSON."""
    match value:
        case dict():
            inner = (f"{_key(key)} = {_toml(item)}" for key, item in value.items())
            return f"{{ {', '.join(inner)} }}"
        case list():
            return f"[{', '.join(_toml(item) for item in value)}]"
        case date():
            return value.isoformat()
        case _:
            return json.dumps(value, ensure_ascii=False)
