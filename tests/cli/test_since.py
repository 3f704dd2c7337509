"""`since`: what happened since a moment, for whoever comes now."""

import inspect
import re
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import get_args

import pytest

from slackwater.cli.acts import ELSEWHERE, TELLING, TOLD, act_of
from slackwater.cli.cap_names import lowered_words
from slackwater.cli.moments import Wall
from slackwater.cli.shots_told import sentences
from slackwater.cli.since_when import since_when
from slackwater.cli.verbs import VERBS
from slackwater.errors import InputError
from slackwater.facts.events import AnyEvent, Calibrated, ShotRequested
from slackwater.facts.waters import MeasurementStruck
from tests.cli.stage import Stage, stage_of
from tests.facts.safeguards import entered
from tests.ledger.test_codec import KINDS

# `alarms` only looks and shares a module with `ack`; an audit is kept by a timer, in
# the name of the user it runs under.
LOOKING = {"alarms", "audit"}
# 2026-05-03 is a Sunday; Berlin is two hours ahead of UTC then.
NOW = datetime(2026, 5, 3, 12, 30, tzinfo=UTC)
WALL = Wall(zone="Europe/Berlin", now=NOW, option="since")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def test_every_kind_of_entry_is_told_here_or_elsewhere() -> None:
    """None is left out by chance, and none is told twice."""
    kinds = {one.__dataclass_fields__["kind"].default for one in get_args(AnyEvent)}
    told = set(TOLD)
    assert kinds == told | ELSEWHERE
    assert not told & ELSEWHERE


def test_every_kind_that_is_told_has_a_sentence() -> None:
    """From one sample of each kind; none holds a name of the program's inside."""
    for event in KINDS:
        words = act_of(event)
        assert bool(words) == (type(event) in TELLING), event.kind
        assert "<" not in words
        assert "\n" not in words


@pytest.mark.parametrize(
    ("text", "hours_ago"),
    [
        ("8h", 8.0),
        ("8 h", 8.0),
        ("90 min", 1.5),
        ("30m", 0.5),
        ("30 min", 0.5),
        ("2d", 48.0),
        ("06:00", 8.5),
        ("6:00", 8.5),
        # Today's 18:00 has not come: it is yesterday's.
        ("18:00", 20.5),
        ("14:30", 0.0),
        ("today", 14.5),
        ("today 06:00", 8.5),
        ("yesterday", 38.5),
        ("Yesterday 18:00", 20.5),
        ("2026-05-01", 86.5 - 24.0),
        ("2026-05-02 18:00", 20.5),
        ("2026-05-02T18:00+00:00", 18.5),
    ],
)
def test_a_moment_as_people_say_it(text: str, hours_ago: float) -> None:
    """On the wall clock of the tank."""
    assert NOW - timedelta(hours=hours_ago) == since_when(text, WALL)


@pytest.mark.parametrize(
    "text", ["", "soon", "25:00", "today 18:00", "2027-01-01", "500d", "-3h", "3 weeks"]
)
def test_what_is_no_moment_that_has_passed_is_asked_about(text: str) -> None:
    """One clear error."""
    with pytest.raises(InputError):
        since_when(text, WALL)


def test_what_is_no_moment_is_told_that_a_length_will_do() -> None:
    """With its units, beside the forms of a time."""
    with pytest.raises(InputError) as caught:
        since_when("3 weeks", WALL)
    (finding,) = caught.value.findings
    for words in ("2026-05-03 09:30", "yesterday 18:00", "20 min", "8 h", "2 d"):
        assert words in finding.expected


def test_an_hour_that_clocks_showed_twice_is_never_chosen() -> None:
    """On the night clocks go back it is asked about, at whatever hour."""
    wall = Wall(
        zone="Europe/Berlin",
        now=datetime(2026, 10, 25, 12, tzinfo=UTC),
        option="since",
    )
    with pytest.raises(InputError):
        since_when("02:30", wall)


def test_a_shift_is_told_what_waits_and_who_did_what(stage: Stage) -> None:
    """Tests with their people, holds, entries from afar; the page fits 80 columns."""
    assert 0 == stage.run("record", "alkalinity=8.1 dKH", "--by", "keeper").code
    assert 0 == stage.approve("--now").code
    assert 0 == stage.run("hold", "--by", "helper", "--note", "cleaning").code
    stage.append(entered(stage.stamp(), "u-1"))
    done = stage.run("since", "2h")
    assert 0 == done.code, done.err
    for words in ("keeper", "8.10 dKH", "helper", "plan approved", "HOLD", "confirm"):
        assert words in done.out
    assert max(map(len, done.out.splitlines())) < 80


def test_what_was_struck_is_marked_and_by_whom(stage: Stage) -> None:
    """A test that was taken out is not hidden from the next shift."""
    assert 0 == stage.run("record", "alkalinity=8.1 dKH", "--by", "keeper").code
    tests = stage.run("since", "--json").document["tests"]
    assert isinstance(tests, list)
    stage.append(
        MeasurementStruck(
            **stage.stamp(), measurement=tests[0]["id"], by="helper", why="wrong tank"
        )
    )
    again = stage.run("since", "--json").document
    assert ["struck"] == [one["mark"] for one in again["tests"]]  # type: ignore[attr-defined]  # a list
    acts = again["acts"]
    assert isinstance(acts, list)
    assert ("helper", "measurement_struck") in {
        (one["by"], one["kind"]) for one in acts
    }


def test_what_was_before_is_not_told(stage: Stage) -> None:
    """A test of an hour ago is none of the last minute; a tank unknown is refused."""
    at = (stage.stamp()["at"] - timedelta(hours=1)).isoformat(timespec="seconds")
    assert 0 == stage.run("record", "calcium=420 mg/L", "--at", at).code
    assert "calcium" in stage.run("since", "2h").out
    document = stage.run("since", "5min", "--json").document
    assert [] == document["tests"]
    assert 2 == stage.run("since", "--tank", "lagoon").code


def asked_shot(stage: Stage, minutes_ago: int, pump: str = "calcium") -> None:
    """A measured shot of 2 mL that a keeper asked for."""
    stamp = stage.stamp()
    stamp["at"] -= timedelta(minutes=minutes_ago)
    stage.append(
        ShotRequested(
            **stamp,
            request=f"r-{minutes_ago}",
            pump=pump,
            volume_ul=2000,
            until=stamp["at"],
            by="keeper",
        )
    )


def test_the_shots_of_one_calibration_are_one_line(stage: Stage) -> None:
    """Summed; those of another pump, or hours later, are told by themselves."""
    for minutes_ago, pump in (
        (300, "calcium"),
        (90, "calcium"),
        (89, "carbonate"),
        (88, "calcium"),
        (87, "calcium"),
    ):
        asked_shot(stage, minutes_ago, pump)
    done = stage.run("since", "8h")
    assert 0 == done.code, done.err
    told = [line for line in done.out.splitlines() if "asked" in line]
    assert ["a measured run of", "3 measured shots, 6", "a measured run of"] == [
        " ".join(line.split("for ", 1)[1].split()[:4]) for line in told
    ]
    acts = stage.run("since", "8h", "--json").document["acts"]
    assert isinstance(acts, list)
    assert 5 == sum(one["kind"] == "shot_requested" for one in acts)


def test_shots_behind_a_finished_calibration_begin_another(stage: Stage) -> None:
    """Two calibrations of one pump are two lines, whatever the time between."""
    stamp = stage.stamp()
    shot = ShotRequested(
        **stamp,
        request="r",
        pump="calcium",
        volume_ul=2000,
        until=stamp["at"],
        by="keeper",
    )
    kept = Calibrated(
        **stamp,
        pump="calcium",
        rate_nl_per_s=500_000,
        cal="77aa01cf",
        shots=2,
        spread_percent=1.0,
        proofs=(),
        by="keeper",
    )
    told = sentences([shot, shot, kept, shot, shot, shot], {})
    assert ["2 measured shots", "3 measured shots"] == [
        words.partition("for ")[2].partition(",")[0]
        for _, words in told
        if words.startswith("asked")
    ]


@pytest.mark.parametrize(
    ("place", "amount", "words"),
    [
        ("pump/calcium/per_day_ul", 41_000, "pump calcium, most per day 41 mL"),
        ("node/shelf/day_limit_ul", 80_000, "node shelf, limit of a day 80 mL"),
        ("cap/reef/calcium/gross", 12, "tank reef calcium, most to pour in a day"),
        ("limit/reef/temperature_hot", 30.0, "tank reef, temperature hot"),
    ],
)
def test_a_lowered_cap_is_named_as_people_do(
    place: str, amount: float, words: str
) -> None:
    """Whose it is, which it is, and a volume with its unit."""
    assert words == lowered_words({place: amount})
    assert f"{words} and 1 more" == lowered_words({place: amount, "z/z/z": 1})


def test_every_act_of_a_person_names_the_person(stage: Stage) -> None:
    """What `--by` said stands in the record, in the page and in the document."""
    for words in (
        ("hold", "--note", "look"),
        ("event", "harvest"),
        ("water-change", "10 L", "--tank", "reef"),
        ("refill", "carbonate", "--content", "1 L"),
    ):
        assert 0 == stage.run(*words, "--by", "keeper").code, words
    acts = stage.run("since", "--json").document["acts"]
    assert isinstance(acts, list)
    told = {one["kind"]: one["by"] for one in acts}
    assert dict.fromkeys(
        ("hold_raised", "husbandry_noted", "water_changed", "reservoir_filled"),
        "keeper",
    ) == {kind: by for kind, by in told.items() if kind != "ledger_made"}


def water_lines(stage: Stage) -> list[str]:
    """What the page says of water changes, without when and by whom, oldest first."""
    page = " ".join(stage.run("since").out.split())
    acts = stage.run("since", "--json").document["acts"]
    assert isinstance(acts, list)
    found = [str(one["text"]) for one in acts if one["kind"] == "water_changed"]
    assert all(line in page for line in found)
    return found


def change_of(stage: Stage, *words: object) -> str:
    """Write down a change of water, and give its id."""
    told = stage.run("water-change", "--json", *words)
    assert 0 == told.code, told.out
    found = told.document["water_change"]
    assert isinstance(found, dict)
    return str(found["id"])


def test_a_change_that_was_called_off_is_not_told_as_made(stage: Stage) -> None:
    """Whether it was announced or told as made; what stands is told as it was."""
    ahead = stage.stamp()["at"] + timedelta(hours=3)
    coming = change_of(stage, "30 L", "--at", f"{ahead:%Y-%m-%dT%H:%M}Z")
    made = change_of(stage, "40 L", "--note", "weekly")
    announced = f"30 L of water announced for {ahead:%Y-%m-%d %H:%M} UTC"

    assert [announced, "40 L of water changed (weekly)"] == water_lines(stage)
    for name in (coming, made):
        assert 0 == stage.run("water-change", "--cancel", name).code
    assert [
        f"{announced}; called off",
        "40 L of water changed (weekly); called off",
        *2 * ["a water change was called off"],
    ] == water_lines(stage)


def test_a_corrected_change_is_not_told_twice_as_made(stage: Stage) -> None:
    """40 L that were 20 are no 60."""
    wrong = change_of(stage, "40 L")
    change_of(stage, "20 L", "--correct", wrong)

    assert [
        "40 L of water changed; corrected to 20 L",
        "a water change was corrected to 20 L",
    ] == water_lines(stage)


def test_an_addition_that_was_struck_says_so_in_the_document_too(stage: Stage) -> None:
    """As on the page."""
    told = stage.run("added", "20 mL", "carbonate", "--json").document["added"]
    assert isinstance(told, dict)
    assert 0 == stage.run("added", "--strike", told["id"], "--why", "a slip").code
    acts = stage.run("since", "--json").document["acts"]
    assert isinstance(acts, list)
    assert ["poured in by hand: 20 mL of carbonate; struck, it was not so"] == [
        one["text"] for one in acts if one["kind"] == "added_by_hand"
    ]


def test_every_verb_that_writes_takes_a_name() -> None:
    """A named person on every record, approval and acknowledgement."""
    nameless = []
    for one in VERBS:
        module = import_module(f"slackwater.cli.commands.{one.module}")
        command = getattr(module, one.attribute)
        writes = re.search(r"\bwrite\(\s*shell\.state", inspect.getsource(module))
        names = {parameter.name for parameter in command.params}
        if writes and "by" not in names:
            nameless.append(one.name)
    assert LOOKING == set(nameless)
