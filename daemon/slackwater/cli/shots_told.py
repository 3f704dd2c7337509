"""Acts as people tell them: the shots of one calibration in one line.

Floor 8. One subject: sentences on pages that look back. Laws here: only shots that
stand side by side in time are joined, by pump and person; a finished calibration ends
it; no shot is left out of the sum; what was struck, called off or corrected is not told
as if it had happened, whenever it was taken back.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from slackwater.cli.acts import act_of
from slackwater.facts.events import AnyEvent, Calibrated, ShotRequested
from slackwater.facts.waters import WaterChanged
from slackwater.ledger.by_time import told
from slackwater.ledger.measured import struck_since
from slackwater.ledger.store import LedgerFile
from slackwater.water.show import show_volume

# What a calibration may flow is counted by the hour; after a longer rest it is another.
_APART = timedelta(hours=1)


def undone(ledger: LedgerFile, since: datetime) -> dict[str, str]:
    """What became of entries that do not stand as written, by the id of each.

    Shape: taken back at `since` or later, up to now.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    found = dict.fromkeys(struck_since(ledger, since), "struck, it was not so")
    for change in told(ledger, WaterChanged, since):
        if change.supersedes:
            volume = show_volume(change.volume_ul)
            better = f"corrected to {volume}" if change.volume_ul else "called off"
            found[change.supersedes] = better
    return found


def sentence(act: AnyEvent, gone: Mapping[str, str]) -> str:
    """What an act tells, and what became of it since; `gone` as `undone` gives it."""
    became = gone.get(getattr(act, "id", ""), "")
    return f"{act_of(act)}; {became}" if became else act_of(act)


def sentences(
    acts: Iterable[AnyEvent], gone: Mapping[str, str]
) -> list[tuple[AnyEvent, str]]:
    """Each act with its sentence; joined shots stand at the first of them.

    Shape: acts in the order of their time; `gone` as `undone` gives it.
    """
    groups: list[list[AnyEvent]] = []
    going: dict[tuple[str, str], list[AnyEvent]] = {}
    for one in acts:
        if isinstance(one, Calibrated):
            going = {key: group for key, group in going.items() if key[0] != one.pump}
        key = _key(one)
        known = going.get(key) if key else None
        if known is not None and one.at - known[-1].at <= _APART:
            known.append(one)
            continue
        groups.append([one])
        if key:
            going[key] = groups[-1]
    return [(group[0], _told(group, gone)) for group in groups]


def _key(event: AnyEvent) -> tuple[str, str] | None:
    """Pump and person of a measured shot; None for anything else."""
    if isinstance(event, ShotRequested) and event.purpose == "calibrate":
        return event.pump, event.by
    return None


def _told(group: list[AnyEvent], gone: Mapping[str, str]) -> str:
    shots = [one for one in group if isinstance(one, ShotRequested)]
    if len(group) == 1:
        return sentence(group[0], gone)
    volume = show_volume(sum(one.volume_ul for one in shots))
    return f"asked {shots[0].pump} for {len(shots)} measured shots, {volume} in all"
