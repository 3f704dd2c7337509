"""What a bottle lacks when it is read, and what that would have done to the water.

Floor 8. One subject: a level below the books. Laws here: whatever is below the band of
what can be left is told at once, for the books begin anew with that level; a bottle
whose fill nobody told lacks nothing, for no one knows what it held; telling stops no
dose, that is for losses at their own threshold (`gate.losses`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.cli.bottles import Emptied, emptied_document, given, rises_words
from slackwater.facts.inventory import Stock
from slackwater.facts.safeguards import LevelMeasured
from slackwater.facts.tank import Machine
from slackwater.water.show import show_volume


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """What one level lacks, microlitres; `given` is that much in each tank.

    `below_books_ul` is 0 within the band, `lost_ul` is 0 below the threshold of losses.
    """

    below_books_ul: int
    lost_ul: int
    given: Sequence[Emptied]


def missing_of(
    machine: Machine, measured: LevelMeasured, before: Stock | None, lost_ul: int
) -> Missing:
    """What a level lacks; `before` is None where nobody told what the bottle held."""
    is_below = before is not None and measured.volume_ul < before.low_ul
    below_ul = before.left_ul - measured.volume_ul if before and is_below else 0
    volume_ul = max(below_ul, lost_ul)
    tanks = given(machine, measured.reservoir, volume_ul) if volume_ul else ()
    return Missing(below_books_ul=below_ul, lost_ul=lost_ul, given=tuple(tanks))


def missing_fields(missing: Missing) -> dict[str, object]:
    """The same for a document; each tank as if all of it had gone there."""
    return {
        "lost_ul": missing.lost_ul,
        "missing_ul": missing.below_books_ul,
        "would_have_added": [
            {key: row[key] for key in ("tank", "adds")}
            for row in map(emptied_document, missing.given)
        ],
    }


def missing_words(missing: Missing, measured: LevelMeasured) -> str:
    """What is missing, and what a person does at once; nothing where nothing is."""
    if missing.lost_ul:
        return f"\n{_lost(missing, measured)}"
    return f"\n{_below(missing, measured)}" if missing.below_books_ul else ""


def _lost(missing: Missing, measured: LevelMeasured) -> str:
    return (
        f"{show_volume(missing.lost_ul)} is missing: far more than "
        f"{', '.join(measured.pumps)} drew. {_effects(missing)}"
        f"Close the outlet, look for a siphon or a leak, and test {_tests(missing)}. "
        f"No dose begins until you tell what the bottle holds: `{_refill(measured)}`. "
        "If it was mistyped, that alone puts it right."
    )


def _below(missing: Missing, measured: LevelMeasured) -> str:
    return (
        f"That is {show_volume(missing.below_books_ul)} less than the books say, and "
        f"less than can be left. {_effects(missing).rstrip()}\n"
        f"Test {_tests(missing)} now. Look at the hose and the bottle: a siphon, a "
        "leak, a mark read wrong? Then level again, with no dose between: less again "
        "means that it still runs out. This alone stops no dose; `slackwater hold` "
        f"does. The books now begin at {show_volume(measured.volume_ul)}, so a second "
        f"level that reads the same says no more of it. If it was "
        f"mistyped, `{_refill(measured)}` with what is there puts them right."
    )


def _refill(measured: LevelMeasured) -> str:
    """What puts the books right, whether something was lost or a figure mistyped."""
    return f"slackwater refill {measured.reservoir} --content VOLUME"


def _effects(missing: Missing) -> str:
    """One sentence for each tank in which that much would have done anything."""
    return "".join(
        f"All of it in {one.tank.id} would have raised {rises}. "
        for one in missing.given
        if (rises := rises_words(one))
    )


def _tests(missing: Missing) -> str:
    """What is tested now: whatever the stock adds, else what tells a loss of water."""
    names = sorted({name for one in missing.given for name in one.effects})
    return " and ".join(names) or "salinity"
