"""Typed levels → measurements, with a second look at what jumps.

Floor 8. One subject: hand tests becoming entries. Laws here: all values of one call are
written or none; a value far from its neighbour in time is asked about, because a slip
of the hand looks like a change of the water; a confirmed value says so, and is no
neighbour where there is another, unless a later test confirmed it again.
Units: levels canonical.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from slackwater.assessment.practice import CONSUMED, SALINITY, headroom, home_sd
from slackwater.assessment.series import REPLICATES_WITHIN
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.render import local, span
from slackwater.cli.replicates import (
    contradictions,
    earlier_is_wrong,
    unlike_earlier,
)
from slackwater.cli.subject import Subject
from slackwater.cli.typed import WORD_AT_MOST, new_id, typed_text
from slackwater.cli.typed_levels import Typed, settled, typed_levels
from slackwater.errors import Finding
from slackwater.facts.state import State
from slackwater.facts.waters import OWN_TESTS_ONLY, MeasurementKept
from slackwater.ledger.codec import timestamp
from slackwater.ledger.measured import all_measured, standing
from slackwater.ledger.store import LedgerFile
from slackwater.pump.outcome import Stamp
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_level

# A change of more than this share, and beyond what tests differ by, is asked about.
JUMP_SHARE = 0.30
JUMP_SDS = 5.0
# So much salinity in so short a time is no evaporation: common practice, no source.
SALT_JUMP = 1.5
# Salinity, and what corals build with, move little in this time.
STEADY_WITHIN = timedelta(days=7)
# An older value says little about what the next one should be.
JUMP_WITHIN = timedelta(days=30)
RECORD = "record"


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is said about all values of one call; `at` as typed."""

    by: str
    at: str | None = None
    method: str = ""
    lot: str = ""
    note: str = ""
    confirmed: bool = False

    def checked(self) -> "About":
        """The same with its texts on one line; kits are told apart by these words.

        Raises: InputError for a text that is too long.
        """
        return replace(
            self,
            by=typed_text(self.by, "--by", WORD_AT_MOST),
            method=typed_text(self.method, "--method", WORD_AT_MOST).lower(),
            lot=typed_text(self.lot, "--lot", WORD_AT_MOST),
            note=typed_text(self.note, "--note"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tests:
    """Values of one call, read and dated, for one tank."""

    subject: Subject
    about: About
    taken_at: datetime
    typed: Sequence[Typed]


def read_tests(
    words: Sequence[str], subject: Subject, about: About, stamp: Stamp
) -> Tests:
    """The values of one call.

    Raises: InputError with everything that is wrong with any of them.
    """
    checked = about.checked()
    taken_at = typed_moment(about.at, Wall(zone=subject.zone, now=stamp["at"]))
    typed = typed_levels(words, RECORD, confirmed=about.confirmed)
    if not about.confirmed:
        settled(contradictions(typed, RECORD))
    return Tests(subject=subject, about=checked, taken_at=taken_at, typed=typed)


def near_tests(ledger: LedgerFile, tank: str, at: datetime) -> list[MeasurementKept]:
    """What stands of a tank within the weeks around the moment of a test.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    marked = all_measured(ledger, tank, at - JUMP_WITHIN, at + JUMP_WITHIN)
    return [one for one in standing(marked) if not _is_posted(one)]


def others_near(
    ledger: LedgerFile, wrong: MeasurementKept, at: datetime
) -> list[MeasurementKept]:
    """What stands around the moment of a correction, without what it takes away.

    None for a laboratory's value that no kit can be held against.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    if _is_posted(wrong):
        return []
    near = near_tests(ledger, wrong.tank, at)
    return [one for one in near if one.id != wrong.id]


def in_place_of(wrong: MeasurementKept, tests: Tests) -> Tests:
    """A correction as it will stand: what is not said anew is as it was."""
    about = replace(
        tests.about,
        method=tests.about.method or wrong.method,
        lot=tests.about.lot or wrong.lot,
    )
    taken_at = tests.taken_at if tests.about.at else wrong.taken_at
    return replace(tests, about=about, taken_at=taken_at)


def _is_posted(kept: MeasurementKept) -> bool:
    """A laboratory's value of what changes in the post is no measure for a kit."""
    return kept.provenance == "lab" and kept.parameter in OWN_TESTS_ONLY


def refuse_jumps(near: Sequence[MeasurementKept], tests: Tests) -> None:
    """Ask about values that a replicate or the nearest value in time speaks against.

    Shape: `near` are standing measurements of the tank within `JUMP_WITHIN`.

    Raises: InputError with one finding a value.
    """
    if tests.about.confirmed:
        return
    found = list(jumps(near, tests))
    told = {one.where for one in found}
    unlike = unlike_earlier(tests.typed, replicates_near(near, tests), RECORD)
    settled((*found, *(one for one in unlike if one.where not in told)))


def jumps(near: Sequence[MeasurementKept], tests: Tests) -> Iterator[Finding]:
    """A finding for each value that the nearest one in time speaks against."""
    for one in tests.typed:
        known = _neighbour(near, one.parameter, tests.taken_at)
        if known is None:
            continue
        most, words = _most(known, abs(tests.taken_at - known.taken_at))
        if abs(one.level - known.value) > most:
            yield _jump(one, known, tests.subject.zone, words)


def _most(known: MeasurementKept, passed: timedelta) -> tuple[float, str]:
    """How far the next value may lie, and in words.

    What corals build with keeps, within a week, the distance that lies between a usual
    level and too much: two digits turned round (7.9, 9.7) are less than 30 %.
    Source: common practice, no source.
    """
    parameter, value = known.parameter, known.value
    if parameter == SALINITY and passed <= STEADY_WITHIN:
        return SALT_JUMP, f"{SALT_JUMP:g}"
    share, noise = JUMP_SHARE * value, JUMP_SDS * home_sd(parameter, value)
    steady = headroom(parameter)
    if parameter in CONSUMED and passed <= STEADY_WITHIN and steady < share:
        most = max(steady, noise)
        return most, show_level(parameter, most)
    return max(share, noise), f"{JUMP_SHARE:.0%}"


def replicates_near(
    near: Sequence[MeasurementKept], tests: Tests
) -> list[MeasurementKept]:
    """What the same kit and lot showed within half an hour of these tests."""
    about = tests.about
    return [
        one
        for one in near
        if (one.provenance, one.method, one.lot) == ("hand", about.method, about.lot)
        and not one.censored
        and abs(one.taken_at - tests.taken_at) <= REPLICATES_WITHIN
    ]


def nearest(
    near: Sequence[MeasurementKept], kept: MeasurementKept
) -> MeasurementKept | None:
    """What was measured nearest in time of the same parameter; None for nothing."""
    return _neighbour(near, kept.parameter, kept.taken_at)


def entries_of(tests: Tests, stamp: Stamp) -> list[MeasurementKept]:
    """One measurement for each value, with an id of its own."""
    return [
        MeasurementKept(
            **stamp,
            id=new_id("m"),
            tank=tests.subject.tank,
            parameter=one.parameter,
            value=one.level,
            typed=one.text,
            taken_at=tests.taken_at,
            provenance="hand",
            by=tests.about.by,
            method=tests.about.method,
            lot=tests.about.lot,
            note=tests.about.note,
            censored=one.censored,
            confirmed=tests.about.confirmed,
        )
        for one in tests.typed
    ]


def before(state: State, kept: MeasurementKept) -> MeasurementKept | None:
    """The newest measurement of the same parameter, in a state without this one."""
    return state.levels.get(f"{kept.tank}/{kept.parameter}")


def words_of(
    kept: MeasurementKept, known: MeasurementKept | None
) -> tuple[str, str, str, str]:
    """A row for people: parameter, value, id and what was known before."""
    if known is None:
        return kept.parameter, level_words(kept), kept.id, "first"
    was = level_words(known)
    if kept.supersedes:
        return kept.parameter, level_words(kept), kept.id, was
    order = "before" if known.taken_at <= kept.taken_at else "later"
    known_words = f"{was}, {span(abs(kept.taken_at - known.taken_at))} {order}"
    return kept.parameter, level_words(kept), kept.id, known_words


def level_words(kept: MeasurementKept) -> str:
    """A measured level for people; below a limit it has its sign."""
    sign = "<" if kept.censored else ""
    return sign + show_level(kept.parameter, kept.value)


def document_of(kept: MeasurementKept) -> dict[str, object]:
    """A measurement for a document; the level as a decimal string, canonical."""
    return {
        "id": kept.id,
        "tank": kept.tank,
        "parameter": kept.parameter,
        "level": str(kept.value),
        "unit": parameter_named(kept.parameter, where="").canonical_unit,
        "shown": level_words(kept),
        "typed": kept.typed,
        "taken_at": timestamp(kept.taken_at),
        "provenance": kept.provenance,
        "method": kept.method,
        "lot": kept.lot,
        "note": kept.note,
        "by": kept.by,
        "censored": kept.censored,
        "confirmed": kept.confirmed,
        "supersedes": kept.supersedes,
    }


def _neighbour(
    near: Sequence[MeasurementKept], parameter: str, at: datetime
) -> MeasurementKept | None:
    """What was measured nearest in time; what was confirmed but once comes last."""
    same = sorted(
        (one for one in near if one.parameter == parameter),
        key=lambda one: abs(one.taken_at - at),
    )
    sure = next((place for place, one in enumerate(same) if not one.confirmed), 0)
    apart = (abs(one.taken_at - same[0].taken_at) for one in same[:sure])
    # Two tests that were each confirmed show how the water is.
    again = any(passed > REPLICATES_WITHIN for passed in apart)
    return same[0 if again else sure] if same else None


def _jump(one: Typed, known: MeasurementKept, zone: str, most: str) -> Finding:
    return Finding(
        what=f"{show_level(one.parameter, one.level)} is far from its neighbour in "
        "time",
        where=f"{RECORD} {one.parameter}",
        expected=f"within {most} of {level_words(known)}, which is {known.id} of "
        f"{local(known.taken_at, zone)}",
        do="Check the figure and its name, and test again. "
        f"{earlier_is_wrong(known.id)} If both are right, add --confirm; nothing was "
        "written.",
    )
