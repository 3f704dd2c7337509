"""`record`: tests, corrections, strikes and standards, on a real ledger."""

from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.waters import MeasurementKept, MeasurementStruck, StandardChecked
from slackwater.service.memory import Memory
from tests.cli.run_program import CONFIG, Outcome
from tests.cli.stage import Stage, stage_of

# One German degree, 10 mg/L CaO at 56.077 g/mol with two equivalents.
MEQ_PER_DKH = 20 / 56.077
# Phosphate written as phosphorus: P 30.974 of PO4 94.97 g/mol.
PO4_PER_P = 94.97 / 30.974


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def written_in(stage: Stage) -> list[MeasurementKept]:
    """Every measurement in the ledger, in order."""
    return [one for one in stage.events() if isinstance(one, MeasurementKept)]


def record(stage: Stage, *words: object) -> Outcome:
    """Run the verb with a document as its answer."""
    return stage.run("record", "--json", "--by", "keeper", *words)


def recorded(stage: Stage, *words: object) -> str:
    """Record one value, and give its id."""
    answer = record(stage, *words)
    assert 0 == answer.code, answer.out
    found = answer.document["measurements"]
    assert isinstance(found, list)
    return str(found[0]["id"])


def test_values_are_kept_canonical_with_what_was_typed(stage: Stage) -> None:
    """Several at once, each with its unit, one moment and one method."""
    words = ("alkalinity=8.1 dKH", "calcium=418 mg/L", "phosphate=0.01 mg/L PO4-P")
    told = record(stage, *words, "--method", " Drops  B ", "--lot", "7", "--note", "x")
    kept = written_in(stage)

    assert 0 == told.code
    assert [8.1 * MEQ_PER_DKH, 418, 0.01 * PO4_PER_P] == pytest.approx(
        [one.value for one in kept], rel=1e-4
    )
    assert ["8.1 dKH", "418 mg/L", "0.01 mg/L PO4-P"] == [one.typed for one in kept]
    assert {("reef", "hand", "drops b", "7", "x", "keeper")} == {
        (one.tank, one.provenance, one.method, one.lot, one.note, one.by)
        for one in kept
    }
    assert 1 == len({one.taken_at for one in kept})
    assert kept[0].at - kept[0].taken_at < timedelta(seconds=1)


def test_the_page_says_what_was_known_before(stage: Stage) -> None:
    """The level, the id to refer to it, and the value before."""
    at = ("--at", "2026-05-03 09:30")
    first = stage.run("record", "alkalinity=8.1 dKH", *at).out
    again = stage.run("record", "alkalinity=8.2 dKH", "--at", "2026-05-03 19:00").out

    assert "8.10 dKH" in first
    assert written_in(stage)[0].id in first
    assert "first" in first
    assert "8.10 dKH, 9 h 30 min before" in again


def test_a_limit_is_kept_as_such(stage: Stage) -> None:
    """Nothing was seen above 0.02 mg/L."""
    told = record(stage, "phosphate=<0.02 mg/L PO4")
    (kept,) = written_in(stage)

    assert (True, 0.02, "<0.02 mg/L PO4") == (kept.censored, kept.value, kept.typed)
    assert "<0.020 mg/L" in told.out


def test_a_time_is_that_of_the_tanks_wall_clock(stage: Stage) -> None:
    """The sample's tank stands in Berlin: summer time in May."""
    record(stage, "alkalinity=8.1 dKH", "--at", "2026-05-03 09:30")

    assert "2026-05-03T07:30:00+00:00" == written_in(stage)[0].taken_at.isoformat()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "nothing is to be recorded"),
        (("alkalinity",), '"alkalinity" is not a name with a value'),
        (("alkalinity=8.1",), "has no unit"),
        (("alkalinity=8.1 mg/L",), "unknown unit"),
        (("alkalinity=8,1 dKH",), "plain number"),
        (("alkalinity=-8.1 dKH",), "is negative"),
        (("alkalinity=nan dKH",), "plain number"),
        (("alkalinty=8.1 dKH",), "is unknown"),
        (("alkalinity=18 dKH",), "not a plausible alkalinity"),
        (("calcium=8.4 mg/L",), "not a plausible calcium"),
        (("phosphate=<0 mg/L PO4",), "below nothing"),
        (("carbon=0.1 mmol/L",), "no test shows carbon"),
        (("alkalinity=8.1 dKH", "--at", "2036-05-03 09:30"), "lies ahead"),
        (("alkalinity=8.1 dKH", "--tank", "frag"), 'no tank is "frag"'),
        (("alkalinity=8.1 dKH", "--note", "x" * 201), "201 characters"),
        (("alkalinity=8.1 dKH", "--method", "a\x1b[1m"), "cannot be printed"),
        (("alkalinity=8.1 dKH", "--found", "8 dKH"), "--found has no meaning"),
        (("alkalinity=8.1 dKH", "--why", "x"), "--why has no meaning"),
        (("alkalinity=8.1 dKH", "--strike", "m-1"), "given: values, --strike"),
        (("--strike", "m-1"), "no reason is given"),
        (("--strike", "m-1", "--why", "x"), 'called "m-1"'),
        (("alkalinity=8.1 dKH", "--correct", "m-1"), 'called "m-1"'),
        (("--correct", "m-1"), "nothing is to be recorded"),
        (("--standard", "alkalinity=7 dKH"), "--found and --method are missing"),
        (("--standard", "alkalinity", "--found", "7 dKH", "--method", "d"), "a name"),
        (
            ("--standard", "alkalinity=<7 dKH", "--found", "7 dKH", "--method", "d"),
            "is no level",
        ),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(
    stage: Stage, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, findings in four words, the ledger as it was."""
    before = stage.events()
    told = record(stage, *words)

    assert 2 == told.code
    assert said in " ".join(error["what"] for error in told.errors)
    assert all(all(error.values()) for error in told.errors)
    assert before == stage.events()


@pytest.mark.parametrize(
    ("words", "advice"),
    [
        (
            ("alkalinity=8,1 dKH",),
            'Write alkalinity="8.1 dKH": the decimal mark is a point',
        ),
        # What is advised is taken when it is typed.
        (("alkalinity=7,6",), 'Write alkalinity="7.6 dKH", with the unit that is'),
        (("alkalinity=7.6",), 'as in alkalinity="7.6 dKH" where that is meant'),
        (("ph=8,1",), 'Write ph="8.1 pH'),
        (
            ("phosphate=0,041 mg/L PO4",),
            'Write phosphate="0.041 mg/L PO4": the decimal mark',
        ),
        (("magnesium=1,290 mg/L",), '"1.290 mg/L" or "1290 mg/L", whichever is meant'),
        (("calcium=1,2,3 mg/L",), "no comma"),
        (("alkalinity", "8,1 dKH"), 'Write  alkalinity="8.1 dKH"'),
        (("magnesium", "1,290 mg/L"), 'Write  magnesium="1,290 mg/L"'),
    ],
)
def test_a_comma_is_not_read_but_its_meaning_is_named(
    stage: Stage, words: tuple[str, ...], advice: str
) -> None:
    """One finding says what to type; a comma with three digits may be either."""
    told = record(stage, *words)
    assert (2, 1) == (told.code, len(told.errors))
    assert advice in told.errors[0]["do"]


def test_all_values_or_none(stage: Stage) -> None:
    """Every one that is wrong is told; the one that is right is not written."""
    told = record(stage, "alkalinity=8.1 dKH", "calcium=41 mg/L", "foo=1 mg/L")

    assert 2 == told.code
    assert ["record calcium", "record foo"] == [error["where"] for error in told.errors]
    assert [] == written_in(stage)


@pytest.mark.parametrize(
    ("value", "confirmable"),
    [("0.8 mg/L PO4", True), ("12 mg/L PO4", True), ("120 mg/L PO4", False)],
)
def test_what_is_unusual_needs_a_confirmation(
    stage: Stage, value: str, *, confirmable: bool
) -> None:
    """The window of phosphate is 0 to 10 mg/L, ten times that is never believed."""
    word = f"phosphate={value}"
    if value != "0.8 mg/L PO4":
        assert 2 == record(stage, word).code
    told = record(stage, word, "--confirm")

    assert confirmable == (told.code == 0)
    assert [True] * confirmable == [one.confirmed for one in written_in(stage)]


def test_replicates_are_all_kept(stage: Stage) -> None:
    """Readers take their mean; the ledger has each."""
    told = record(stage, "alkalinity=8.0 dKH", "alkalinity=8.2 dKH", "--method", "d")

    assert 0 == told.code
    assert 2 == len({one.id for one in written_in(stage)})


def test_a_correction_takes_the_place_and_keeps_the_rest(stage: Stage) -> None:
    """What is not said anew stays: the time, the method, the lot."""
    wrong = recorded(
        stage, "calcium=481 mg/L", "--method", "drops", "--lot", "7", "--at",
        "2026-05-03 09:30",
    )  # fmt: skip
    right = recorded(stage, "calcium=418 mg/L", "--correct", wrong)
    old, new = written_in(stage)

    assert (wrong, right) == (old.id, new.id)
    assert (wrong, 418, old.taken_at, "drops", "7") == (
        new.supersedes,
        new.value,
        new.taken_at,
        new.method,
        new.lot,
    )
    assert right == stage.folded().levels["reef/calcium"].id


def test_a_correction_may_be_far_from_what_was_wrong(stage: Stage) -> None:
    """A slip of a digit is just what is corrected; a new time counts too."""
    wrong = recorded(stage, "nitrate=50 mg/L NO3", "--at", "2026-05-03 09:30")
    recorded(
        stage, "nitrate=5 mg/L NO3", "--correct", wrong, "--at", "2026-05-03 10:30"
    )

    assert "2026-05-03T08:30:00+00:00" == written_in(stage)[1].taken_at.isoformat()


@pytest.mark.parametrize(
    "words",
    [
        ("magnesium=1300 mg/L",),
        ("calcium=418 mg/L", "calcium=419 mg/L"),
        ("calcium=418 mg/L", "magnesium=1300 mg/L"),
    ],
)
def test_a_correction_is_one_value_of_the_same(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """One for one; anything else is refused."""
    wrong = recorded(stage, "calcium=481 mg/L")
    told = record(stage, *words, "--correct", wrong)

    assert (2, "--correct") == (told.code, told.errors[0]["where"])
    assert 1 == len(written_in(stage))


def test_what_no_longer_stands_is_neither_corrected_nor_struck(stage: Stage) -> None:
    """Exit code 1: understood, and not possible any more."""
    first = recorded(stage, "calcium=481 mg/L")
    second = recorded(stage, "calcium=418 mg/L", "--correct", first)
    corrected = record(stage, "calcium=410 mg/L", "--correct", first)
    assert 0 == record(stage, "--strike", second, "--why", "wrong tank").code
    struck = record(stage, "--strike", second, "--why", "again")

    assert (1, f"{first} was corrected by {second}") == (
        corrected.code,
        corrected.errors[0]["what"],
    )
    assert (1, f"{second} was struck") == (struck.code, struck.errors[0]["what"])


def test_a_strike_says_why_and_ends_the_level(stage: Stage) -> None:
    """The entry stays in the ledger and is no level any more."""
    wrong = recorded(stage, "calcium=418 mg/L")
    told = stage.run("record", "--strike", wrong, "--why", "wrong  tank", "--by", "k")
    struck = [one for one in stage.events() if isinstance(one, MeasurementStruck)]

    assert f"Struck {wrong}: wrong tank." in told.out
    assert [(wrong, "k", "wrong tank")] == [
        (one.measurement, one.by, one.why) for one in struck
    ]
    assert {} == stage.folded().levels
    assert [wrong] == [one.id for one in written_in(stage)]


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ("7.3 dKH", "reads 0.3 dKH too high, 4.3 % of 7.00 dKH"),
        ("6.9 dKH", "reads 0.1 dKH too low, 1.4 % of 7.00 dKH"),
        ("7.0 dKH", "reads the standard right"),
    ],
)
def test_a_kit_on_a_standard_shows_its_bias(
    stage: Stage, found: str, said: str
) -> None:
    """0.3 of 7 are 4.3 %; the entry holds both figures."""
    words = ("--standard", "alkalinity=7.0 dKH", "--found", found, "--method", "Drops")
    told = stage.run("record", *words, "--lot", "12")
    (check,) = [one for one in stage.events() if isinstance(one, StandardChecked)]

    assert said in told.out
    assert ("alkalinity", "drops", "12") == (check.parameter, check.method, check.lot)
    assert 7 * MEQ_PER_DKH == pytest.approx(check.expected, rel=1e-4)


def test_works_without_a_configuration_if_the_tank_is_named(tmp_path: Path) -> None:
    """Nothing else is needed to write a test down; its time is then UTC."""
    stage = stage_of(tmp_path)
    bare = Stage(tmp_path / "nowhere", stage.state)
    named = record(
        bare, "alkalinity=8.1 dKH", "--tank", "reef", "--at", "2026-05-03 09:30"
    )
    unnamed = record(bare, "alkalinity=8.1 dKH")
    words = ("--standard", "alkalinity=7 dKH", "--found", "7 dKH", "--method", "d")

    assert 0 == named.code
    assert "2026-05-03T09:30:00+00:00" == written_in(stage)[0].taken_at.isoformat()
    assert 2 == unnamed.code
    assert 0 == record(bare, *words).code


def test_an_approved_plan_describes_the_tank(tmp_path: Path) -> None:
    """The files may be gone; the tank and its zone are in the ledger."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    bare = Stage(tmp_path / "nowhere", stage.state)

    assert 0 == record(bare, "alkalinity=8.1 dKH", "--at", "2026-05-03 09:30").code
    assert "2026-05-03T07:30:00+00:00" == written_in(stage)[0].taken_at.isoformat()


def test_several_tanks_are_told_apart(tmp_path: Path) -> None:
    """Without a name it is not clear which one was tested."""
    stage = stage_of(tmp_path, CONFIG / "two-tanks")
    told = record(stage, "alkalinity=8.1 dKH")
    tanks = told.errors[0]["expected"].removeprefix("one of ").split(", ")

    assert (2, "which tank is not said") == (told.code, told.errors[0]["what"])
    assert 0 == record(stage, "alkalinity=8.1 dKH", "--tank", tanks[1]).code
    assert tanks[1] == written_in(stage)[0].tank


def test_a_daemon_that_runs_reads_it_as_news(stage: Stage) -> None:
    """The ledger is shared: what a person writes is folded a moment later."""
    memory = Memory(stage.state, "live")
    memory.open()
    recorded(stage, "alkalinity=8.1 dKH")
    news = memory.news()
    memory.close()

    assert ["measurement_kept"] == [event.kind for event in news]
    assert "reef/alkalinity" in memory.state.levels


def test_no_ledger_is_one_clear_error(tmp_path: Path) -> None:
    """Exit code 2 and what to do."""
    told = record(Stage(CONFIG / "smallest", tmp_path), "alkalinity=8.1 dKH")

    assert (2, "there is no ledger") == (told.code, told.errors[0]["what"])
