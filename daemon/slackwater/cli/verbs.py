"""Every verb of the program: where it lives, under which heading, what it is for.

Floor 8. One subject: the table of verbs. Laws here: help reads this table and loads no
verb; a verb is in one section.
"""

from dataclasses import dataclass
from typing import Literal

Section = Literal["First steps", "Every day", "More"]
SECTIONS: tuple[Section, ...] = ("First steps", "Every day", "More")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One verb; `module` below `slackwater.cli.commands`, `attribute` in it."""

    name: str
    module: str
    attribute: str
    section: Section
    purpose: str


def _verb(name: str, place: str, section: Section, purpose: str) -> Verb:
    module, _, attribute = place.partition(":")
    return Verb(
        name=name, module=module, attribute=attribute, section=section, purpose=purpose
    )


_FIRST, _DAILY, _MORE = SECTIONS

VERBS: tuple[Verb, ...] = (
    _verb("check", "checking:check", _FIRST, "Say all that is wrong with the files."),
    _verb("rehearse", "rehearsing:rehearse", _FIRST, "Run the plan ahead of time."),
    _verb("run", "running:run", _FIRST, "Run the daemon, in shadow until enabled."),
    _verb("init", "beginning:init", _MORE, "Make the ledger alone."),
)

BY_NAME = {verb.name: verb for verb in VERBS}
