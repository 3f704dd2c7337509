"""`level`: what somebody read, beside the books; `refill` with its lot."""

import re
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import PEQ_PER_DKH, give

CHEMISTRY = Path(__file__).resolve().parents[2] / "config" / "chemistry"


def rows(found: object) -> list[dict[str, object]]:
    """The rows of a list in a document."""
    assert isinstance(found, list)
    return found


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The sample with four solutions, and a fresh ledger."""
    return stage_of(tmp_path, CHEMISTRY)


def test_h58_a_level_is_kept_beside_the_books(stage: Stage) -> None:
    """What was read counts from now on; the books told 5 L, to 1 % of it."""
    stage.run("refill", "carbonate")
    told = stage.run("level", "carbonate", "4.9 L", "--within", "5 mL", "--json")
    assert 0 == told.code
    assert (4_900_000, 5_000, 5_000_000) == (
        told.document["volume_ul"],
        told.document["within_ul"],
        told.document["by_the_books_ul"],
    )
    # 2 x 50 mL / sqrt(3) (JCGM 100:2008, 4.3.7), by hand.
    assert 5_000_000 - 57_736 == told.document["by_the_books_low_ul"]
    assert 4_900_000 == stage.folded().fills["carbonate"].content_ul
    assert 1 == len(stage.folded().intervals["carbonate"])


def test_a_pump_names_its_reservoir(stage: Stage) -> None:
    """Whoever stands before the pump need not know how its bottle is called."""
    said = stage.run("level", "magnesium", "1 L")
    assert 0 == said.code
    (kept,) = [e for e in stage.events() if isinstance(e, LevelMeasured)]
    assert ("magnesium", ("magnesium",)) == (kept.reservoir, kept.pumps)


def test_what_the_books_say_is_told_as_a_bottle_is_read(stage: Stage) -> None:
    """To a tenth of a millilitre: nobody reads one finer."""
    text = " ".join(stage.run("level", "carbonate", "1 L").out.split())
    bounds = re.findall(r"between ([0-9.]+) (?:mL|L) and ([0-9.]+) (?:mL|L)", text)
    assert 1 == len(bounds)
    assert all(len(one.partition(".")[2]) <= 1 for one in bounds[0])


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("no", "1 L"), "RESERVOIR|PUMP"),
        (("carbonate", "1"), "VOLUME"),
        (("carbonate", "50 L"), "VOLUME"),
        (("carbonate", "1 L", "--within", "some"), "--within"),
        (("carbonate", "1 L", "--at", "soon"), "--at"),
        (("carbonate", "1 L", "--at", "2199-01-01 10:00"), "--at"),
        (("carbonate", "1 L", "--by", "x" * 41), "--by"),
    ],
)
def test_a_level_that_cannot_be_is_refused(
    stage: Stage, words: tuple[str, ...], place: str
) -> None:
    """The place is named, and nothing is written."""
    told = stage.run("level", *words, "--json")
    assert 2 == told.code
    assert [place] == [error["where"] for error in told.errors]
    assert {} == stage.folded().fills
    assert [] == [e for e in stage.events() if isinstance(e, LevelMeasured)]


def test_a_refill_names_its_lot(stage: Stage) -> None:
    """The level after it leaves the lot as it is."""
    told = stage.run("refill", "carbonate", "--lot", "spring 2", "--json")
    assert "spring 2" == told.document["lot"]
    (filled,) = [e for e in stage.events() if isinstance(e, ReservoirFilled)]
    assert "spring 2" == filled.lot
    stage.run("level", "carbonate", "4.9 L")
    assert "spring 2" == stage.folded().fills["carbonate"].lot


def test_a_level_from_before_the_last_dose_is_refused(stage: Stage) -> None:
    """What was drawn since is not in it; read after it, it is taken."""
    stage.run("refill", "carbonate")
    give(stage, 1, PEQ_PER_DKH)
    before = stage.stamp()["at"] - timedelta(hours=1)
    words = ("level", "carbonate", "4.9 L", "--at", before.isoformat("T", "seconds"))
    told = stage.run(*words, "--json")
    assert (2, ["--at"]) == (told.code, [error["where"] for error in told.errors])
    assert {} == stage.folded().intervals
    assert 0 == stage.run(*words[:3]).code
    (interval,) = stage.folded().intervals["carbonate"]
    assert (100_000, 1_000, 1) == (
        interval.used_ul,
        interval.believed_ul,
        interval.runs,
    )


@pytest.mark.parametrize("words", [("refill", "carbonate"), ("level", "carbonate")])
def test_h58_a_level_from_before_the_last_fill_is_refused(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """It was read of what was in it then; the books stay as they are."""
    before = stage.stamp()["at"] - timedelta(hours=1)
    told = stage.run(*words, *(("4.9 L",) if words[0] == "level" else ()))
    assert 0 == told.code
    books = stage.folded().fills["carbonate"]
    late = ("level", "carbonate", "0.4 L", "--at", before.isoformat("T", "seconds"))
    told = stage.run(*late, "--json")
    assert (2, ["--at"]) == (told.code, [error["where"] for error in told.errors])
    assert "filled or read since" in told.errors[0]["what"]
    assert books == stage.folded().fills["carbonate"]
    assert {} == stage.folded().intervals


def test_h22_a_bottle_that_emptied_itself_is_told_at_once(stage: Stage) -> None:
    """Half a litre went with nothing dosed; a fill that is told ends it."""
    stage.run("refill", "carbonate")
    told = stage.run("level", "carbonate", "4.5 L", "--json")
    assert (0, 500_000) == (told.code, told.document["lost_ul"])
    text = " ".join(stage.run("level", "carbonate", "4.5 L").out.split())
    assert "500 mL is missing" in text
    assert "No dose begins" in text
    assert "slackwater refill" in text
    stage.run("refill", "carbonate", "--content", "4.5 L")
    told = stage.run("level", "carbonate", "4.5 L", "--json")
    assert 0 == told.document["lost_ul"]
    assert "missing" not in stage.run("level", "carbonate", "4.49 L").out


@pytest.mark.parametrize("mistyped", ["0.19 L", "4.9 L"])
def test_h22_a_mistyped_level_says_how_it_is_put_right(
    stage: Stage, mistyped: str
) -> None:
    """A point at the wrong place stops doses; a fill of what is there ends that."""
    stage.run("refill", "carbonate")
    text = " ".join(stage.run("level", "carbonate", mistyped).out.split())
    assert "If it was mistyped" in text
    assert "`slackwater refill carbonate --content VOLUME`" in text
    stage.run("refill", "carbonate", "--content", "4.98 L")
    told = stage.run("level", "carbonate", "4.98 L", "--json").document
    assert (0, 0) == (told["lost_ul"], told["missing_ul"])


def test_h22_less_than_can_be_left_is_told_at_once(stage: Stage) -> None:
    """100 mL of 5 L: below the band, too little for a hold; told with its effect.

    Expected by hand: the bottle emptied at once, a fiftieth of it.
    """
    stage.run("refill", "carbonate")
    bottles = rows(stage.run("check", "--json").document["bottles"])
    (whole,) = [one for one in bottles if one["reservoir"] == "carbonate"]
    told = stage.run("level", "carbonate", "4.9 L", "--json")
    assert (0, 0) == (told.code, told.document["lost_ul"])
    assert 100_000 == told.document["missing_ul"]
    (given,) = rows(told.document["would_have_added"])
    assert whole["tank"] == given["tank"]
    ((alkalinity,), (emptied,)) = rows(given["adds"]), rows(whole["adds"])
    assert ("alkalinity", "dKH") == (alkalinity["parameter"], alkalinity["unit"])
    by_hand = Fraction(str(emptied["added"])) / 50
    assert pytest.approx(float(by_hand), abs=2e-6) == float(str(alkalinity["added"]))
    assert {} == stage.folded().holds


def test_h22_what_is_missing_is_told_in_plain_words(stage: Stage) -> None:
    """How much, what it would have done, what to do; a second level is not silent."""
    stage.run("refill", "carbonate")
    text = " ".join(stage.run("level", "carbonate", "4.9 L").out.split())
    assert "100 mL less than the books say" in text
    assert re.search(r"in reef would have raised alkalinity by [0-9.]+ dKH", text)
    for do in ("Test alkalinity", "hose", "bottle", "level again"):
        assert do in text
    assert "The books now begin at 4.9 L" in text


@pytest.mark.parametrize("left", ["4.95 L", "5 L"])
def test_a_level_within_the_band_has_nothing_missing(stage: Stage, left: str) -> None:
    """What a fill may be off is no loss."""
    stage.run("refill", "carbonate")
    told = stage.run("level", "carbonate", left, "--json")
    assert (0, []) == (
        told.document["missing_ul"],
        told.document["would_have_added"],
    )
    assert "less than the books" not in stage.run("level", "carbonate", left).out


def test_a_bottle_nobody_ever_filled_on_record_misses_nothing(stage: Stage) -> None:
    """The machine file says what it can hold, not what it held."""
    assert 0 == stage.run("level", "carbonate", "1 L", "--json").document["missing_ul"]
