"""What became of one dose, and why.

Floor 8. One subject: the life of a dose for people. Laws here: a published command is
never called a success; what nobody knows is counted as dosed and said so; a missed dose
will not be made up.
"""

from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from slackwater.cli.wording import reason_words
from slackwater.facts.events import AnyEvent, RequestTakenBack
from slackwater.facts.reasons import Reason
from slackwater.facts.releases import way_out
from slackwater.ledger.lives import Life, Word
from slackwater.ledger.schema import Role
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, doses, entries
from slackwater.service.memory import LIVE_NAME, SHADOW_NAME
from slackwater.water.show import show_volume

WORDS: Mapping[Word, str] = {
    "held": "waits",
    "missed": "missed, will not be made up",
    "taken_back": "taken back before it was given",
    "intended": "charged in full; nothing is known of it yet",
    "handed": "charged in full; the command left, which proves nothing",
    "refused": "charged in full; the node refused, which proves nothing",
    "taken": "under way",
    "voided": "never ran, will not be made up; its charge was given back",
    "sealed": "unknown, counted as dosed",
    "ended": "dosed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One dose with its entries in their order; `imagined` in a shadow run."""

    life: Life
    entries: tuple[AnyEvent, ...]
    imagined: bool

    @property
    def word(self) -> str:
        """What became of it."""
        if not self.imagined:
            return WORDS[self.life.word]
        ended = self.life.word == "ended"
        word = "would have dosed" if ended else WORDS[self.life.word]
        return f"imagined in shadow: {word}"


def story_of(state_dir: Path, dose: str) -> Story | None:
    """The story of a dose, real or imagined; None when nobody named it yet.

    Raises: the ledger errors.
    """
    places: tuple[tuple[str, Role], ...] = (
        (LIVE_NAME, "live"),
        (SHADOW_NAME, "shadow"),
    )
    for name, role in places:
        path = state_dir / name
        if not path.exists():
            continue
        with closing(LedgerFile.open(path, role, writable=False)) as ledger:
            lives = doses(ledger, Wanted(dose=dose))
            if lives:
                found = entries(ledger, Wanted(dose=dose))
                return Story(
                    life=lives[0],
                    entries=tuple(entry.event for entry in found),
                    imagined=role == "shadow",
                )
    return None


def story_text(story: Story) -> str:
    """The story on a page: what became of it, then entry by entry."""
    life = story.life
    amounts = amount_words(life)
    # A dose by hand that waits has no entry yet that says how much it is.
    so_far = f"  So far    {amounts}"
    if life.planned_ul:
        so_far = f"  Planned   {show_volume(life.planned_ul)}, {amounts}"
    lines = [f"{life.dose}  {story.word}", so_far]
    for event in story.entries:
        how = getattr(event, "how", "") or getattr(event, "word", "")
        how = how or _said_by(event)
        what = f"{event.kind.replace('_', ' ')}{f', {how}' if how else ''}"
        lines.append(f"  {event.at:%Y-%m-%d %H:%M:%S} UTC  {what}")
        for reason in _reasons(event):
            lines.append(f"      {reason_words(reason)}")
            if life.word == "held":
                lines.append(f"      Ends: {way_out(reason.code)}")
    return "\n".join(lines)


def _said_by(event: AnyEvent) -> str:
    """Who took it back and why; nothing of what no person wrote."""
    if not isinstance(event, RequestTakenBack):
        return ""
    return f"by {event.by}{f' ({event.why})' if event.why else ''}"


def amount_words(life: Life) -> str:
    """What was asked of the node, what is charged, and what is believed to have run."""
    asked = show_volume(life.asked_ul) if life.asked_ul else "nothing"
    charged, believed = show_volume(life.charge_ul), show_volume(life.believed_ul)
    return f"asked {asked}, charged {charged}, believed {believed}"


def _reasons(event: AnyEvent) -> tuple[Reason, ...]:
    reasons: tuple[Reason, ...] = getattr(event, "reasons", ())
    return reasons
