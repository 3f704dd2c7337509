"""`alarms`, `ack`, and what a status says of them."""

from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.alarms.words import amounts
from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmRaised,
    Cause,
    Priority,
    alarm_id,
)
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, Figure, because
from slackwater.service.standing import only_one
from tests.cli.hand_test import by_hand
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import COLUMNS, LINES, live, tanks_of

ABSENT = "node-absent.shelf"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger and a plan."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


def alarm(
    stage: Stage,
    cause: Cause = Cause.NODE_ABSENT,
    about: str = "shelf",
    priority: Priority = "soon",
    **figures: Figure,
) -> None:
    """The daemon told of something an hour ago, more or less."""
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm=alarm_id(cause, about),
            cause=cause,
            about=about,
            priority=priority,
            tanks=("reef",),
            hours_left=23.4,
            figures=figures,
        )
    )


def end(stage: Stage, name: str = ABSENT) -> None:
    """Its cause has gone."""
    stage.append(AlarmChanged(**stage.stamp(), alarm=name, to="returned"))


def names(stage: Stage, *words: str) -> list[str]:
    """What is listed."""
    listed = stage.run("alarms", "--json", *words).document["alarms"]
    assert isinstance(listed, list)
    return [one["alarm"] for one in listed]


def test_nothing_wrong_is_said_in_one_line(stage: Stage) -> None:
    """And ends with 0 where no pump is enabled, whether a daemon runs or not."""
    told = stage.run("alarms")
    assert (0, "No alarm stands.") == (told.code, told.out.splitlines()[-1])
    with only_one(stage.state):
        told = stage.run("alarms")
    assert (0, ["No alarm stands."]) == (told.code, told.out.splitlines())


def fed_last(stage: Stage, days: float, dkh: float = 8.0) -> None:
    """Pumps are enabled; a test by hand so long ago, and nothing was given since."""
    live(stage)
    by_hand(stage, dkh, timedelta(days=days))


def missed(stage: Stage) -> None:
    """What the daemon told while it still took the target for the level."""
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm="missed-doses.reef",
            cause=Cause.MISSED_DOSES,
            about="reef",
            priority="soon",
            tanks=("reef",),
            hours_left=36.0,
            share=0.3,
            figures={"parameter": "alkalinity", "short_dkh": 0.05},
        )
    )


def only_one_of(found: object) -> dict[str, object]:
    """The one row of a list."""
    assert isinstance(found, list)
    (row,) = found
    assert isinstance(row, dict)
    return row


def test_that_no_daemon_runs_leads_all_that_is_wrong(stage: Stage) -> None:
    """Three days dead: before any note, how long the tank has and what to do.

    8.0 dKH less 3.25 days of 1.0 are 4.75: the floor of 6.5 is passed.
    """
    fed_last(stage, 3.25)
    told = stage.run("alarms")
    assert 1 == told.code
    assert told.out.startswith("STOPPED No daemon runs on this ledger")
    page = " ".join(told.out.split())
    assert "reef: about 4.75 dKH by now. No time is left" in page
    alarm(stage, Cause.FILES_DIFFER, "all", "note")
    told = stage.run("alarms")
    assert told.out.startswith("STOPPED ")
    assert "NOTE    files-differ.all" in told.out
    document = stage.run("alarms", "--json").document
    assert document["daemon_is_here"] is False


def test_an_alarm_is_reckoned_anew_whenever_it_is_read(stage: Stage) -> None:
    """It was told with 36 h; by now the floor is passed, so it is urgent.

    What is short in 24 h is that of now as well: nothing was planned lately.
    """
    fed_last(stage, 3.25)
    missed(stage)
    for here in (nullcontext(), only_one(stage.state)):
        with here:
            told = stage.run("alarms")
        page = " ".join(told.out.split())
        assert "URGENT missed-doses.reef" in page
        assert "No time is left: as reckoned, the floor is passed." in page
        assert "36 h" not in page
    assert "Short by" not in page


def test_an_alarm_and_a_status_tell_one_time(stage: Stage) -> None:
    """With nothing given both say when the floor is met, whatever the test's age."""
    fed_last(stage, 1.0, dkh=9.0)
    missed(stage)
    listed = only_one_of(stage.run("alarms", "--json").document["alarms"])
    tank = only_one_of(stage.run("status", "--json").document["tanks"])
    assert tank["hours_to_floor"] == pytest.approx(listed["hours_left"], abs=0.1)


def test_an_alarm_says_what_since_when_how_much_how_long_and_what_to_do(
    stage: Stage,
) -> None:
    """Figures stand in the units of people; exit code 1 while it stands."""
    alarm(stage, beat_age_s=41, short_dkh=0.42)
    told = stage.run("alarms")
    assert 1 == told.code
    assert "SOON    node-absent.shelf  nobody has acknowledged it" in told.out
    assert "No fresh beat from the pump node. (beat age 41 s)" in told.out
    assert "Short by 0.42 dKH in 24 h. About 23 h left to the floor" in told.out
    assert "Do: Look whether the pump node has power and network." in told.out


def test_the_pressing_one_stands_first_with_its_first_aid(stage: Stage) -> None:
    """Whatever came first."""
    alarm(stage)
    alarm(stage, Cause.FILES_DIFFER, "all", "note")
    alarm(stage, Cause.ALKALINITY_CEILING, "reef", "urgent", excess_dkh=1.5)
    assert [
        "alkalinity-ceiling.reef",
        ABSENT,
        "files-differ.all",
    ] == names(stage)
    told = stage.run("alarms").out
    assert "First aid: slackwater first-aid overdose" in told
    assert "Too much by 1.50 dKH." in told


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0.0, "No time is left: as reckoned, the floor is passed."),
        (0.4, "Less than an hour left to the floor."),
        (47.4, "About 47 h left to the floor."),
        (72.0, "About 3 days left to the floor."),
    ],
)
def test_the_time_left_says_until_what(hours: float, words: str) -> None:
    """Never 0 h, and never about less than an hour."""
    raised = AlarmRaised(
        at=datetime(2026, 5, 3, tzinfo=UTC),
        boot_s=0.0,
        proven_ms=0,
        alarm=ABSENT,
        cause=Cause.NODE_ABSENT,
        about="shelf",
        priority="soon",
    )
    assert words == amounts(raised, hours)


def test_what_is_over_stands_behind_what_is_not(stage: Stage) -> None:
    """However urgent it was."""
    alarm(stage, Cause.ALKALINITY_CEILING, "reef", "urgent")
    end(stage, "alkalinity-ceiling.reef")
    alarm(stage)
    assert [ABSENT, "alkalinity-ceiling.reef"] == names(stage)


def test_an_alarm_told_again_says_so_beside_the_note(stage: Stage) -> None:
    """Somebody knew of it; it was told once more since."""
    alarm(stage)
    words = ("ack", ABSENT, "--by", "keeper", "--note", "on my way")
    assert 0 == stage.run(*words).code
    alarm(stage, priority="urgent")
    told = stage.run("alarms").out
    assert f'{ABSENT}  told again since keeper acknowledged it "on my way"' in told


def test_what_is_over_stays_until_it_was_seen(stage: Stage) -> None:
    """Then only `--all` shows it; nothing that is over makes an exit code."""
    alarm(stage)
    end(stage)
    told = stage.run("alarms")
    assert (0, [ABSENT]) == (told.code, names(stage))
    assert f"OVER    {ABSENT}  nobody has acknowledged it" in told.out
    # Nothing is left of something that is over, and nothing to do.
    assert "left to the floor" not in told.out
    assert "Do: " not in told.out.partition("OVER")[2]
    assert 0 == stage.run("ack", ABSENT, "--by", "keeper").code
    assert ([], [ABSENT]) == (names(stage), names(stage, "--all"))


def test_an_acknowledgement_names_who_and_why(stage: Stage) -> None:
    """It stands on, and says so."""
    alarm(stage)
    told = stage.run("ack", ABSENT, "--by", "keeper", "--note", "cable is ordered")
    assert f"Acknowledged: {ABSENT}." in told.out
    assert 'acknowledged by keeper "cable is ordered"' in stage.run("alarms").out
    assert "acknowledged" == stage.folded().alarms[ABSENT].word


def test_a_silence_ends_within_a_day(stage: Stage) -> None:
    """Eight hours from now; more than a day is no answer the program takes."""
    alarm(stage)
    told = stage.run("ack", ABSENT, "--silence", "8", "--by", "keeper", "--json")
    assert (0, "suppressed") == (told.code, told.document["to"])
    known = stage.folded().alarms[ABSENT]
    assert known.until is not None
    lasts = known.until - stage.stamp()["at"]
    assert timedelta(hours=7.9) < lasts <= timedelta(hours=8)
    for hours in ("0", "25", "for-ever"):
        assert 2 == stage.run("ack", ABSENT, "--silence", hours).code


def test_all_acknowledges_what_nobody_has_seen(stage: Stage) -> None:
    """Each once; a second time there is nothing to say."""
    alarm(stage)
    alarm(stage, Cause.FILES_DIFFER, "all", "note")
    told = stage.run("ack", "--all", "--by", "keeper", "--json").document
    assert ["files-differ.all", ABSENT] == told["alarms"]
    again = stage.run("ack", "--all", "--by", "keeper")
    assert (0, "There was nothing to say.\n") == (again.code, again.out)


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("ack",), "which alarms you mean is not clear"),
        (("ack", ABSENT, "--all"), "which alarms you mean is not clear"),
        (("ack", "no-such"), 'no alarm is called "no-such"'),
        (("ack", ABSENT, "no-such"), 'no alarm is called "no-such"'),
        (("ack", ABSENT, "--note", "x" * 201), "the text has 201 characters"),
    ],
)
def test_what_is_not_clear_is_refused_whole(
    stage: Stage, words: tuple[str, ...], what: str
) -> None:
    """One clear error, exit code 2, nothing written."""
    alarm(stage)
    before = len(stage.events())
    told = stage.run(*words)
    assert 2 == told.code
    assert what in told.err
    assert before == len(stage.events())


def test_what_is_over_cannot_be_silenced(stage: Stage) -> None:
    """There is nothing to silence any more."""
    alarm(stage)
    end(stage)
    assert 2 == stage.run("ack", ABSENT, "--silence", "2").code


def test_a_status_tells_the_worst_one_and_how_many(stage: Stage) -> None:
    """And which first aid helps with a hold that stands."""
    alarm(stage)
    alarm(stage, Cause.ALKALINITY_CLIMB, "reef", "urgent")
    stage.append(
        HoldRaised(
            **stage.stamp(),
            hold_id="alkalinity-climb/alkalinity/reef",
            scope="alkalinity/reef",
            reason=because(Code.ALKALINITY_CLIMB, rise_meq_per_l=0.4),
            latched=True,
        )
    )
    told = stage.run("status")
    assert "Alarm  urgent: alkalinity-climb.reef: Alkalinity climbs faster" in told.out
    assert "And 1 more: `slackwater alarms`." in " ".join(told.out.split())
    assert "First aid: slackwater first-aid overdose" in told.out
    document = stage.run("status", "--json").document
    assert "overdose" == document["first_aid"]
    assert 2 == len(document["alarms"])  # type: ignore[arg-type]  # a list


def test_a_status_without_alarms_is_silent_about_them(stage: Stage) -> None:
    """No line, no first aid."""
    told = stage.run("status").out
    assert "Alarm" not in told
    assert "First aid" not in told


@pytest.mark.parametrize("tanks", [2, 3, 20])
def test_a_status_with_alarms_fits_one_screen(tmp_path: Path, tanks: int) -> None:
    """24 lines of 80, also with many tanks and holds."""
    stage = tanks_of(tmp_path, tanks)
    rehearsed = stage.run("rehearse", "--days", "1", "--json").document
    highest = str(rehearsed["highest_daily_ul"])
    assert 0 == stage.approve("--now", highest=f"{highest} uL").code
    for number in range(3):
        stage.run("hold", "--note", f"{number} " + "a long story " * 9)
        alarm(stage, Cause.NODE_ABSENT, f"node-{number}")
    alarm(stage, Cause.ALKALINITY_CEILING, "reef", "urgent")
    lines = stage.run("status").out.splitlines()
    assert len(lines) <= LINES
    assert max(len(line) for line in lines) < COLUMNS
