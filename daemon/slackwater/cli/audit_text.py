"""An audit for people: figures first, then every dose that needs a word.

Floor 8. One subject: the page of an audit. Laws here: at most 80 columns; imagined
doses are called so; what is missing will not be made up; no green tick without the
figure behind it.
"""

from collections import Counter
from collections.abc import Iterator

from slackwater import __version__
from slackwater.audit.audit import Audit, DayTotal
from slackwater.audit.intents import Wrong
from slackwater.cli.render import table
from slackwater.service.replaying import Replay
from slackwater.water.show import show_count, show_volume

MISSING_SHOWN = 20
DEPARTURES_SHOWN = 40
WRONGS: dict[Wrong, str] = {
    "extra": "begun without an approval that asked for it",
    "altered": "begun otherwise than approved",
    "duplicate": "begun more than once",
    "unexplained": "missing without a reason from the list",
    "beyond": "believed to have given more in a day than approved",
}


def audit_text(found: Audit, again: Replay | None = None) -> str:
    """The whole page; `again` is what a replay found, None where none was made."""
    return "\n".join(_lines(found, again))


def _lines(found: Audit, again: Replay | None) -> Iterator[str]:
    yield f"From {found.since:%Y-%m-%d %H:%M} to {found.until:%Y-%m-%d %H:%M} UTC."
    yield f"Approval  {_approvals(found)}"
    for is_live in (True, False):
        totals = [one for one in found.days.values() if one.is_live is is_live]
        if totals:
            yield from _sums(totals, is_live=is_live)
    if found.by_request:
        runs = show_count(found.by_request, "run")
        yield f"Apart     {runs} a person on the machine asked for"
    counts = (f"{wrong} {found.count(wrong)}" for wrong in WRONGS)
    yield f"Faults    {', '.join(counts)}"
    yield from _missing(found)
    if found.pending:
        yield f"Ahead     {show_count(found.pending, 'dose')} may still begin"
    yield from _departures(found)
    yield from _replayed(again)
    if found.days:
        yield ""
        yield _days(found)


def _approvals(found: Audit) -> str:
    """Those that asked for doses, else what else there is to say of any."""
    if found.serials:
        return ", ".join(map(str, found.serials))
    told = []
    if found.in_force:
        told.append(f"{_listed(found.in_force)} in force, no dose was due")
    if found.awaited:
        told.append(f"{_listed(found.awaited)} has still to take over")
    return "; ".join(told) or "none in force"


def _listed(serials: tuple[int, ...]) -> str:
    return ", ".join(map(str, serials))


def _sums(totals: list[DayTotal], *, is_live: bool) -> Iterator[str]:
    doses = show_count(sum(one.doses for one in totals), "dose")
    approved = show_volume(sum(one.approved_ul for one in totals))
    given = show_count(sum(one.given for one in totals), "dose")
    believed = show_volume(sum(one.believed_ul for one in totals))
    yield f"Approved  {doses}, {approved}"
    rehearsed = [one.rehearsed_ul for one in totals if one.rehearsed_ul is not None]
    if rehearsed:
        yield f"Rehearsed {show_volume(sum(rehearsed))}"
    label, word = (
        ("Dosed", "believed") if is_live else ("Imagined", "would have flowed")
    )
    yield f"{label:8}  {given}, {believed} {word}"


def _missing(found: Audit) -> Iterator[str]:
    counted = Counter(one.reason for one in found.missing)
    if not counted:
        yield "Missing   0"
        return
    words = ", ".join(f"{count} {reason}" for reason, count in counted.most_common())
    yield f"Missing   {len(found.missing)}, will not be made up: {words}"
    for one in found.missing[:MISSING_SHOWN]:
        volume = show_volume(one.volume_ul)
        yield f"  {one.dose}  {volume}  {one.reason}"
    more = len(found.missing) - MISSING_SHOWN
    if more > 0:
        yield f"  and {more} more; --json lists all"


def _departures(found: Audit) -> Iterator[str]:
    for wrong, words in WRONGS.items():
        ours = [one for one in found.departures if one.wrong == wrong]
        if ours:
            yield f"{wrong.upper()}: {words}"
        for one in ours[:DEPARTURES_SHOWN]:
            yield f"  {one.dose}  {one.what}"
        more = len(ours) - DEPARTURES_SHOWN
        if more > 0:
            yield f"  and {more} more; --json lists all"


def _replayed(again: Replay | None) -> Iterator[str]:
    """What this version makes of the stored decisions."""
    if again is None:
        return
    differ = len(again.differences)
    yield (
        f"Replayed  {again.decisions} live decisions by version {__version__}: "
        f"{differ} differ; those of a shadow run are not replayed"
    )
    for one in again.differences[:DEPARTURES_SHOWN]:
        yield f"  {one.dose}"
        yield f"    then {one.then}"
        yield f"    now  {one.now}"
    if differ > DEPARTURES_SHOWN:
        yield f"  and {differ - DEPARTURES_SHOWN} more; --json lists all"


def _days(found: Audit) -> str:
    heads = ("|day", "|pump", ">approved", ">asked", ">believed", ">doses", "|where")
    rows = [
        (
            str(one.day),
            one.pump,
            show_volume(one.approved_ul),
            show_volume(one.asked_ul),
            show_volume(one.believed_ul),
            f"{one.given}/{one.doses}",
            "live" if one.is_live else "shadow",
        )
        for one in sorted(found.days.values(), key=lambda one: (one.day, one.pump))
    ]
    return table(heads, rows)
