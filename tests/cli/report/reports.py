"""Rehearsals that the tests of this folder share, as documents and pages."""

import fcntl
import json
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from tests.cli.run_program import CONFIG, Outcome, run

SAMPLES = ("smallest", "two-tanks", "chemistry")
# Where the processes of a run keep documents for each other; `conftest.py` says it.
SHELF: list[Path] = []


def rehearse(config: Path, *words: object, state: Path | None = None) -> Outcome:
    """Run the verb on a configuration, with no ledger unless one is named."""
    places = ("--config", config, "--state", state or config / "no-ledger")
    return run("rehearse", *places, *words)


@cache
def printed(name: str) -> tuple[str, str]:
    """Document and page of a rehearsal with faults; the first to ask makes them.

    With all its faults, but every third of a large sample's where tests are not long.
    """
    path, html = (SHELF[-1] / f"{name}.{ending}" for ending in ("json", "html"))
    with path.with_suffix(".lock").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        if not path.exists():
            words = ("--faults", "--json", "--html", html)
            path.write_text(rehearse(CONFIG / name, *words).out, "utf-8")
    return path.read_text("utf-8"), html.read_text("utf-8")


@cache
def document(name: str) -> dict[str, Any]:
    """The document of that rehearsal."""
    found: dict[str, Any] = json.loads(printed(name)[0])
    return found


def page_of(name: str) -> str:
    """The page of that rehearsal."""
    return printed(name)[1]


class Outline(HTMLParser):
    """What a page is made of: elements, ids, and text by the id around it."""

    def __init__(self, text: str) -> None:
        """Read a whole page."""
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._inside: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Every element is closed in the order in which it was opened."""
        while self.open[-1] != tag and self.open[-1] in ENDS_BY_ITSELF:
            self.open.pop()
        assert tag == self.open.pop()

    def handle_data(self, data: str) -> None:
        """Keep text that people read."""
        if self.open and self.open[-1] not in ("script", "style"):
            self.texts.append(data)

    @property
    def text(self) -> str:
        """All text in one line."""
        return " ".join("".join(self.texts).split())

    def named(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of all elements of a kind."""
        return [attributes for name, attributes in self.elements if name == tag]


ENDS_BY_ITSELF = frozenset({"td", "th", "tr"})
VOID = frozenset({"meta", "input", "br", "link", "img"})
