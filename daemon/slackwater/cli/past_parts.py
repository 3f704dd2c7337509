"""The parts that pages of the past share: doses, tests, and who did what.

Floor 8. One subject: a chronicle as parts of a page and as fields of a document. Laws
here: imagined doses say so; a missed dose is never made up; every act has its person
beside it.
"""

from collections.abc import Iterable, Sequence

from slackwater.cli.acts import who
from slackwater.cli.chronicle import Chronicle, Pumped
from slackwater.cli.leaf import Part
from slackwater.cli.measuring import document_of, level_words
from slackwater.cli.render import local
from slackwater.cli.shots_told import sentence, sentences
from slackwater.facts.events import AnyEvent
from slackwater.ledger.codec import timestamp
from slackwater.ledger.measured import Marked
from slackwater.water.show import show_count, show_volume

# Day and time on the wall clock; the zone stands above.
_MINUTES = len("2026-05-03 09:30")
_FROM_MONTH = len("2026-")


def short_local(at_text: str) -> str:
    """A local moment without its year and zone: "05-03 09:30"."""
    return at_text[_FROM_MONTH:_MINUTES]


def doses_part(found: Chronicle) -> Part:
    """A row for each pump that was to give anything."""
    rows = tuple(_pump_row(one) for one in found.pumped)
    lines = [
        f"{show_count(one.doses, 'dose')} of {one.tank}/{one.line} missed while no "
        f"daemon was there, from {one.first_due:%Y-%m-%d %H:%M} to "
        f"{one.last_due:%Y-%m-%d %H:%M} UTC."
        for one in found.spans
    ]
    if any(one.imagined for one in found.pumped):
        lines.append("Imagined: the shadow run would have dosed it; no pump ran.")
    if any(one.unknown for one in found.pumped):
        lines.append("Unknown: nobody can tell whether it ran; counted as dosed.")
    if any(one.missed for one in found.pumped):
        lines.append("What was missed is not made up.")
    return Part(
        heading="Doses",
        heads=("pump", ">doses", ">given", ">missed", "remarks"),
        rows=rows,
        lines=tuple(lines),
        nothing="No dose was due.",
    )


def _pump_row(one: Pumped) -> tuple[str, ...]:
    remarks = [f"{count} {code}" for code, count in sorted(one.reasons.items())]
    if one.unknown:
        remarks.insert(0, f"{one.unknown} unknown")
    if one.aside_ul:
        remarks.append(f"{show_volume(one.aside_ul)} out of the water")
    if one.imagined:
        remarks.insert(0, "imagined")
    return (
        one.pump,
        str(one.doses),
        show_volume(one.believed_ul),
        str(one.missed),
        ", ".join(remarks),
    )


def tests_part(found: Chronicle, zone: str) -> Part:
    """Every test, corrected and struck ones marked."""
    return Part(
        heading="Tests",
        heads=("taken", "parameter", ">level", "by", "method and marks"),
        rows=tuple(_test_row(one, zone) for one in found.tests),
        nothing="No test was recorded.",
    )


def _test_row(one: Marked, zone: str) -> tuple[str, ...]:
    kept = one.kept
    words = (kept.method or kept.provenance, kept.lot, one.mark)
    return (
        short_local(local(kept.taken_at, zone)),
        kept.parameter,
        level_words(kept),
        kept.by,
        ", ".join(word for word in words if word),
    )


def acts_part(
    heading: str, acts: Iterable[AnyEvent], found: Chronicle, zone: str
) -> Part:
    """Who did what, and what the guards did; `acts` are some of those found."""
    return Part(
        heading=heading,
        heads=("when", "by", "what"),
        rows=tuple(
            (short_local(local(one.at, zone)), who(one), words)
            for one, words in sentences(acts, found.gone)
        ),
        nothing="Nothing.",
    )


def pumped_document(one: Pumped) -> dict[str, object]:
    """What a pump gave, for a document."""
    return {
        "tank": one.tank,
        "pump": one.pump,
        "imagined": one.imagined,
        "doses": one.doses,
        "believed_ul": one.believed_ul,
        "charged_ul": one.charge_ul,
        "unknown": one.unknown,
        "missed": one.missed,
        "missed_reasons": dict(sorted(one.reasons.items())),
        "out_of_water_ul": one.aside_ul,
    }


def test_document(one: Marked) -> dict[str, object]:
    """A test, for a document."""
    return {**document_of(one.kept), "mark": one.mark, "why": one.why}


def act_documents(
    acts: Sequence[AnyEvent], found: Chronicle
) -> list[dict[str, object]]:
    """Acts, for a document; they are some of those found."""
    return [
        {
            "at": timestamp(event.at),
            "kind": event.kind,
            "by": who(event),
            "text": sentence(event, found.gone),
        }
        for event in acts
    ]
