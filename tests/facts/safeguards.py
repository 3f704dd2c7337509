"""Invented words about the guards: one entry of each kind."""

from datetime import timedelta

from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.events import AnyEvent
from slackwater.facts.safeguards import (
    AwayDeclared,
    AwayEnded,
    BottleMoved,
    BypassEnded,
    BypassGranted,
    LevelMeasured,
    ProbePutBack,
    ProbeTakenOut,
    ReservoirFilled,
    TopOffSummed,
    TubeSwapped,
)
from tests.facts.diary import HOUR, TODAY, Diary, Stamp

DAY = timedelta(days=1)


def bypassed(stamp: Stamp, interlock: str = "ph-carbonate") -> BypassGranted:
    """An interlock left aside for two hours."""
    return BypassGranted(
        **stamp,
        interlock=interlock,
        scope="tank/reef",
        until=stamp["at"] + 2 * HOUR,
        why="the probe is being cleaned",
        by="keeper",
    )


def taken_out(stamp: Stamp, probe: str = "kh") -> ProbeTakenOut:
    """A probe that waits a week for its spare part."""
    return ProbeTakenOut(
        **stamp, probe=probe, until=stamp["at"] + 7 * DAY, by="keeper", why="cable"
    )


def away(stamp: Stamp, days: int = 10) -> AwayDeclared:
    """Somebody who leaves at once."""
    return AwayDeclared(
        **stamp,
        from_at=stamp["at"],
        until=stamp["at"] + days * DAY,
        by="keeper",
        contact="a neighbour",
        unmet=("a fresh test of calcium",),
    )


def filled(stamp: Stamp, content_ul: int = 2_000_000) -> ReservoirFilled:
    """The one bottle of the diary, full of a solution made today."""
    return ReservoirFilled(
        **stamp,
        reservoir="one",
        content_ul=content_ul,
        mixed_at=stamp["at"],
        by="keeper",
        note="same lot",
    )


def levelled(
    stamp: Stamp, volume_ul: int = 1_900_000, within_ul: int = 5_000
) -> LevelMeasured:
    """Somebody put the one bottle of the diary on a scale."""
    return LevelMeasured(
        **stamp,
        reservoir="one",
        volume_ul=volume_ul,
        within_ul=within_ul,
        measured_at=stamp["at"],
        pumps=("calcium", "carbonate"),
        by="keeper",
        note="on the scale",
    )


def swapped(stamp: Stamp, pump: str = "carbonate") -> TubeSwapped:
    """A new tube of the same kind."""
    return TubeSwapped(**stamp, pump=pump, by="keeper", note="the last of three")


def moved(stamp: Stamp) -> BottleMoved:
    """The one bottle of the diary stands on another shelf."""
    return BottleMoved(
        **stamp, reservoir="one", pumps=("calcium", "carbonate"), by="keeper"
    )


AT_THE_PUMPS = (levelled, swapped, moved)


def summed(stamp: Stamp, days_on: int = 0, volume_ul: int = 3_000_000) -> TopOffSummed:
    """What the top-off counter counted on one day."""
    return TopOffSummed(
        **stamp,
        tank="reef",
        switch="refill",
        day=TODAY + days_on * DAY,
        volume_ul=volume_ul,
    )


def entered(
    stamp: Stamp, name: str = "u-1", value: float = 3.9, parameter: str = "alkalinity"
) -> LevelEntered:
    """A test somebody typed into a dashboard at this moment."""
    return LevelEntered(
        **stamp,
        id=name,
        tank="reef",
        parameter=parameter,
        value=value,
        typed=f"{value} meq/L",
        taken_at=stamp["at"],
        request=f"r-{name}",
        note="dashboard",
    )


def settled(stamp: Stamp) -> EntrySettled:
    """A person on the machine refused what was typed."""
    return EntrySettled(
        **stamp, entry="u-1", how="refused", by="keeper", why="a slip", measurement=""
    )


def from_afar(stamp: Stamp) -> tuple[AnyEvent, ...]:
    """What was typed, and what became of it."""
    return entered(stamp), settled(stamp)


def of_the_guards(diary: Diary) -> tuple[AnyEvent, ...]:
    """One entry of each kind, what ends something after what began it."""
    stamp = diary.stamp
    return (
        bypassed(stamp),
        bypassed(stamp, "leak"),
        BypassEnded(**stamp, interlock="leak", by="daemon", why="time passed"),
        taken_out(stamp),
        taken_out(stamp, "ph"),
        ProbePutBack(**stamp, probe="ph", by="keeper", why="new cable"),
        away(stamp),
        AwayEnded(**stamp, by="keeper", note="all is well"),
        away(stamp, days=3),
        filled(stamp),
        levelled(stamp),
        swapped(stamp),
        moved(stamp),
        summed(stamp),
        entered(stamp),
        entered(stamp, name="u-2"),
        settled(stamp),
    )
