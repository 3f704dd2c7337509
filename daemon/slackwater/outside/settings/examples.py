"""Lines of TOML that a person can copy where something was refused.

Floor 6. One subject: the example of a key. Laws here: an example is accepted where it
is told; the example of one parameter is none of another, whose units it does not have.
"""

import json
import re
import tomllib
from collections.abc import Sequence

from pydantic.fields import FieldInfo

from slackwater.water.levels import rate_like
from slackwater.water.parameters import PARAMETERS, Parameter
from slackwater.water.show import show_level
from slackwater.water.spellings import strengths_of

# A figure with the unit of one parameter; a rate has its day behind it.
_FIGURE = re.compile(r"(?P<figure>[0-9.]+) (?P<unit>[^/\s]+(?:/m?L)?)(?P<rate>/day)?")


def example_of(field: FieldInfo | None, key: str, path: Sequence[str] = ()) -> str:
    """A line of TOML for a key of a table.

    Shape: `path` leads from the table to the key, through the ids of parameters too.
    """
    text = _text_of(field)
    names = [part for part in path if part in PARAMETERS]
    if not names:
        return f"{key} = {text}"
    example = tomllib.loads(f"it = {text}")["it"]
    if path[-1] == names[-1] and isinstance(example, dict):
        # The key is a parameter itself, and the example a table of one or more.
        example = next(iter(example.values()))
    return f"{key} = {_written(example, PARAMETERS[names[-1]])}"


def _text_of(field: FieldInfo | None) -> str:
    if field is not None and field.examples:
        return str(field.examples[0])
    if field is not None and isinstance(field.default, str | int):
        return json.dumps(field.default)
    return '"…"'


def _written(example: object, item: Parameter) -> str:
    """An example with the figures of a parameter."""
    if isinstance(example, dict):
        pairs = (f"{key} = {_written(one, item)}" for key, one in example.items())
        return f"{{ {', '.join(pairs)} }}"
    found = _FIGURE.fullmatch(str(example))
    if found is None:
        return json.dumps(example, ensure_ascii=False)
    if found["rate"]:
        return f'"{rate_like(item, found["figure"])}"'
    if found["unit"].endswith("/mL"):
        return f'"{found["figure"]} {next(iter(strengths_of(item)))}"'
    return f'"{show_level(item.id, (item.low + item.high) / 2)}"'
