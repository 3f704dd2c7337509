"""Every mutant of an area: its name, its place, its code; which of them are none."""

import ast
import hashlib
import tomllib
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import CodeType

from tests.mutants.operators import Site, sites

TOP = Path(__file__).parents[2]
SOURCE = TOP / "daemon/slackwater"
AREAS = ("pump", "planning", "gate", "ledger")
NAME_LENGTH = 8
SHOWN = 70
# A statement is told with each of its parts, one after the other.
TOLD_KEPT = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change of one module.

    Attributes:
        name: Stays the same as long as the function around it does.
        path: The module's file.
        line: Where the change stands.
        lines: First and last line of what is changed.
        statement: First and last line of the statement around it.
        old: The part as it is.
        new: The part as it becomes.
        owner: The outermost function around it; empty for none.
        tree: The module, as it is.
        site: What is changed in it.
    """

    name: str
    path: Path
    line: int
    lines: tuple[int, int]
    statement: tuple[int, int]
    old: str
    new: str
    owner: str
    tree: ast.Module
    site: Site

    def codes(self) -> tuple[CodeType, CodeType]:
        """The module as it is, and changed."""
        sound = compile(self.tree, str(self.path), "exec", dont_inherit=True)
        return sound, changed(self.tree, self.site, self.path)

    @property
    def module(self) -> str:
        """The name it is imported by."""
        within = self.path.relative_to(SOURCE.parent).with_suffix("")
        return ".".join(within.parts)

    def __str__(self) -> str:
        within = self.path.relative_to(TOP)
        return f"{self.name} {within}:{self.line}: {self.old}  ->  {self.new}"


def mutants_of(area: str) -> list[Mutant]:
    """Every mutant of an area, module by module."""
    paths = sorted((SOURCE / area).rglob("*.py"))
    return [mutant for path in paths for mutant in mutants_in(path)]


def mutants_in(path: Path) -> Iterator[Mutant]:
    """Every mutant of one module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    seen: Counter[str] = Counter()
    for site in sites(tree):
        whole = f"{path.relative_to(SOURCE)} {site.owner} {told(site.statement)}"
        told_as = f"{whole}: {told(site.old)} -> {told(site.new)}"
        seen[told_as] += 1
        numbered = f"{told_as} #{seen[told_as]}"
        yield Mutant(
            name=hashlib.sha256(numbered.encode()).hexdigest()[:NAME_LENGTH],
            path=path,
            line=span(site.old)[0],
            lines=span(site.old),
            statement=span(site.statement),
            old=shortened(told(site.old)),
            new=shortened(told(site.new)),
            owner=site.owner,
            tree=tree,
            site=site,
        )


def changed(tree: ast.Module, site: Site, path: Path) -> CodeType:
    """The code of a module with one part replaced; the tree is as before after it."""
    put(site, site.new)
    try:
        ast.fix_missing_locations(tree)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SyntaxWarning)
            return compile(tree, str(path), "exec", dont_inherit=True)
    finally:
        put(site, site.old)


def put(site: Site, part: ast.AST) -> None:
    """Hang a part where a site says."""
    if site.index is None:
        setattr(site.holder, site.field, part)
    else:
        getattr(site.holder, site.field)[site.index] = part


@lru_cache(TOLD_KEPT)
def told(node: ast.AST) -> str:
    """The text of a node, of a compound statement its head only."""
    return ast.unparse(node).partition("\n")[0]


def shortened(text: str) -> str:
    """A text that fits in a line beside another."""
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def span(node: ast.AST) -> tuple[int, int]:
    """First and last line of a node, of a compound statement those of its head."""
    first = getattr(node, "lineno", 0)
    body = getattr(node, "body", None)
    if isinstance(node, ast.stmt) and isinstance(body, list):
        return first, max(first, body[0].lineno - 1)
    return first, getattr(node, "end_lineno", first)


def equivalents() -> dict[str, str]:
    """The mutants that are the same program, each with the reason."""
    listed = Path(__file__).with_name("equivalent.toml").read_text(encoding="utf-8")
    groups = tomllib.loads(listed).values()
    return {name: group["reason"] for group in groups for name in group["mutants"]}
