"""What is logged is what the table in DEVELOPERS.md says, and nothing else."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
PACKAGE = TOP / "daemon" / "slackwater"
HEADING = "## What is logged"
# Keys that one call spreads: they stand in the table in words.
SPREAD = "and dose_id, attempt, hold_id where there is one"
Call = tuple[str, str, frozenset[str]]


def trees() -> list[ast.Module]:
    """Every module of the daemon."""
    paths = sorted(PACKAGE.rglob("*.py"))
    return [ast.parse(path.read_text("utf-8")) for path in paths]


def constants(modules: list[ast.Module]) -> dict[str, str]:
    """Names that stand for a text at the top of a module."""
    return {
        node.targets[0].id: node.value.value
        for tree in modules
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    }


@cache
def logged() -> tuple[Call, ...]:
    """Event, level and keys of every call of a log."""
    modules = trees()
    return tuple(calls(modules, constants(modules)))


def calls(modules: list[ast.Module], names: dict[str, str]) -> Iterator[Call]:
    """The same; `names` are the texts that constants stand for."""
    for tree in modules:
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not isinstance(
                node.func, ast.Attribute
            ):
                continue
            if (
                not isinstance(node.func.value, ast.Name)
                or node.func.value.id != "_log"
            ):
                continue
            said = node.args[0]
            name = said.attr if isinstance(said, ast.Attribute) else ast.unparse(said)
            keys = frozenset(one.arg or SPREAD for one in node.keywords)
            yield names[name], node.func.attr, keys


def table() -> dict[str, tuple[str, frozenset[str]]]:
    """Level and keys by event, as the page has them."""
    text = (TOP / "DEVELOPERS.md").read_text("utf-8")
    part = text[text.index(HEADING) :].split("\n## ")[0]
    found = {}
    for line in part.splitlines():
        if line.startswith("| `"):
            event, level, keys, meaning = (
                cell.strip() for cell in line.strip("|").split("|")
            )
            assert meaning
            plain = keys.removesuffix(f", {SPREAD}")
            named = {key for key in plain.split(", ") if key}
            spread = {SPREAD} if plain != keys else set()
            found[event.strip("`")] = level, frozenset(named | spread)
    return found


def test_every_event_stands_in_the_table_with_its_level_and_keys() -> None:
    """None is missing, none is there that nobody logs, no key is left out."""
    said: dict[str, set[str]] = {}
    levels: dict[str, set[str]] = {}
    for event, level, keys in logged():
        said.setdefault(event, set()).update(keys)
        levels.setdefault(event, set()).add(level)
    assert {
        event: ({level}, set(keys)) for event, (level, keys) in table().items()
    } == {event: (levels[event], said[event]) for event in said}


@pytest.mark.parametrize("word", ["password", "secret", "key", "payload", "url"])
def test_no_key_of_a_log_is_a_secret(word: str) -> None:
    """By the names of the keys; a canary in every secret is looked for elsewhere."""
    assert not {key for _, _, keys in logged() for key in keys if word in key}
