"""Where in the daemon a name of a module is used, found in its text alone."""

import ast
from collections import defaultdict
from functools import cache
from pathlib import Path

from tests.mutants.catalogue import SOURCE

Line = tuple[str, int]


@cache
def uses_in(area: Path) -> tuple[dict[str, set[Line]], dict[str, set[str]]]:
    """For every name the lines in functions that mention it, and names set from it."""
    lines: defaultdict[str, set[Line]] = defaultdict(set)
    heirs: defaultdict[str, set[str]] = defaultdict(set)
    for path in sorted(area.rglob("*.py")):
        for statement in ast.parse(path.read_text(encoding="utf-8")).body:
            for name, line in mentioned(statement):
                lines[name].add((str(path), line))
                heirs[name] |= names_set(statement)
    return dict(lines), dict(heirs)


def mentioned(statement: ast.stmt) -> list[tuple[str, int]]:
    """The names read in a statement, and their lines."""
    found = []
    for node in ast.walk(statement):
        match node:
            case ast.Name(id=name, ctx=ast.Load()) | ast.Attribute(attr=name):
                found.append((name, node.lineno))
            case ast.keyword(arg=str() as name):
                found.append((name, node.lineno))
            case _:
                pass
    return found


def names_set(statement: ast.stmt) -> set[str]:
    """The names that a statement of a module or a class gives a value."""
    match statement:
        case ast.Assign(targets=targets):
            return {one.id for one in targets if isinstance(one, ast.Name)}
        case ast.AnnAssign(target=ast.Name(id=name)):
            return {name}
        case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
            return {name}
        case _:
            return set()


def lines_using(path: Path, line: int) -> set[Line] | None:
    """The lines of the area that use what is set on a line; None if others use it."""
    names = set_on(path, line)
    lines, heirs = uses_in(path.parent)
    waiting = list(names)
    while waiting:
        new = heirs.get(waiting.pop(), set()) - names
        names |= new
        waiting += new
    if not names or any(is_used_outside(path.parent, name) for name in names):
        return None
    return set().union(*(lines.get(name, set()) for name in names))


def set_on(path: Path, line: int) -> set[str]:
    """The names that the innermost statement outside all functions sets on a line."""
    names: set[str] = set()
    body = ast.parse(path.read_text(encoding="utf-8")).body
    for statement in body:
        if statement.lineno <= line <= (statement.end_lineno or line):
            names = names_set(statement)
            for inner in getattr(statement, "body", []):
                if inner.lineno <= line <= (inner.end_lineno or line):
                    names = names_set(inner) or names
    return names


@cache
def is_used_outside(area: Path, name: str) -> bool:
    """Whether another floor mentions a name."""
    return any(name in words for path, words in words_of() if area not in path.parents)


@cache
def words_of() -> list[tuple[Path, frozenset[str]]]:
    """Every module of the daemon and the names it reads or imports."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        words = {name for statement in tree.body for name, _ in mentioned(statement)}
        imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        words |= {alias.name for node in imports for alias in node.names}
        found.append((path, frozenset(words)))
    return found
