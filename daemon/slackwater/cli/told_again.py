"""The same thing told twice within minutes, and asked about.

Floor 8. One subject: an entry typed again. Laws here: what is poured or changed moves
the water as often as it is told, so what looks like the entry of a moment ago is asked
about; what was struck, called off or corrected is no entry to be told again.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from slackwater.cli.render import span
from slackwater.errors import Finding
from slackwater.facts.waters import AddedByHand, WaterChanged

# Nobody changes or pours the same amount again so soon; common practice, no source.
AGAIN_WITHIN = timedelta(minutes=10)


def changed_again(
    event: WaterChanged, earlier: Iterable[WaterChanged]
) -> Iterator[Finding]:
    """A finding for a change of the same volume at nearly the same time.

    Range: `earlier` are the changes that stand. Other levels make no other change of
    it: whoever forgot a test corrects the entry.
    """
    for one in earlier:
        is_same = (one.tank, one.volume_ul) == (event.tank, event.volume_ul)
        if (
            is_same
            and _near(event.changed_at, one.changed_at)
            and _just_told(event, one)
        ):
            yield Finding(
                what=f"the same volume was told {_ago(event, one)} ago as {one.id}",
                where="water-change",
                expected="each change once",
                do="Nothing was written. If it is another one, add --confirm; to "
                f"mend that entry, say it again with --correct {one.id}.",
            )
            return


def added_again(
    event: AddedByHand, earlier: Iterable[AddedByHand]
) -> Iterator[Finding]:
    """A finding for the same addition at nearly the same time.

    Range: `earlier` are additions that were not struck.
    """
    for one in earlier:
        if _poured(one) != _poured(event) or not _near(event.given_at, one.given_at):
            continue
        if _just_told(event, one):
            yield Finding(
                what=f"the same addition was told {_ago(event, one)} ago as {one.id}",
                where="added",
                expected="each addition once",
                do="Nothing was written. If it is another one, add --confirm.",
            )
            return


def _poured(one: AddedByHand) -> tuple[object, ...]:
    return one.tank, one.solution, one.volume_ul, dict(one.effects)


def _near(first: datetime, second: datetime) -> bool:
    return abs(first - second) <= AGAIN_WITHIN


def _just_told(
    event: AddedByHand | WaterChanged, one: AddedByHand | WaterChanged
) -> bool:
    return timedelta() <= event.at - one.at <= AGAIN_WITHIN


def _ago(event: AddedByHand | WaterChanged, one: AddedByHand | WaterChanged) -> str:
    return span(event.at - one.at)
