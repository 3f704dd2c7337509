"""The account of a pair, entry by entry: what moved, what is owed, what is proven."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import (
    ChargeRaised,
    DoseEnded,
    DoseIntended,
    DoseSealed,
    DoseVoided,
    HoldRaised,
    HoldReleased,
)
from slackwater.facts.exchanges import Account, Phase, fill_of
from slackwater.facts.fold import fold
from slackwater.facts.mismatch import mismatch_of
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import LevelMeasured
from slackwater.facts.waters import WaterChanged
from tests.turn.pairs import NET_UL, PORTION_UL, Pair

LITRE_UL = 1_000_000
SEVEN = "reef/daily-out@2026-05-04#01"


def halfway(*, at: str) -> tuple[Pair, DoseIntended]:
    """A pair of which the drain, or the fill, was intended and nothing heard since."""
    pair = Pair()
    pair.silent = {"a"} if at == "drain" else {"b"}
    pair.until(10.2)
    (known,) = pair.state.open.values()
    return pair, known.intent


def account(pair: Pair) -> Account:
    """Where it stands."""
    return pair.state.exchanges["water"]


def tell(pair: Pair, kind: str, intent: DoseIntended, **figures: object) -> None:
    """Fold what became of an intent."""
    kinds = {
        "ended": DoseEnded,
        "voided": DoseVoided,
        "sealed": DoseSealed,
        "raised": ChargeRaised,
    }
    fold(
        pair.state,
        kinds[kind](**pair.stamp(), attempt=intent.command.attempt, **figures),
    )


def ended(believed_ul: int, source: str = "reported") -> dict[str, object]:
    """A run that ended with so much."""
    return {
        "how": "full",
        "believed_ul": believed_ul,
        "charge_ul": PORTION_UL,
        "source": source,
    }


def test_a_drain_that_never_ran_owes_nothing() -> None:
    """Voided: it is proven that no water left."""
    pair, intent = halfway(at="drain")
    assert "draining" == account(pair).phase
    tell(pair, "voided", intent, reasons=())
    assert ("rest", 0) == (account(pair).phase, account(pair).drain.moved_ul)


def test_a_fill_that_never_ran_is_owed_still() -> None:
    """Voided: what was drained is missing."""
    pair, intent = halfway(at="fill")
    assert "filling" == account(pair).phase
    tell(pair, "voided", intent, reasons=())
    assert ("owed", PORTION_UL) == (account(pair).phase, account(pair).owed_ul)


@pytest.mark.parametrize("at", ["drain", "fill"])
@pytest.mark.parametrize("kind", ["sealed", "ended"])
def test_what_nobody_saw_is_unknown_and_counted_as_asked(at: str, kind: str) -> None:
    """Sealed, or ended without a word of how much."""
    pair, intent = halfway(at=at)
    figures = {"reasons": ()} if kind == "sealed" else ended(PORTION_UL, "asked")
    tell(pair, kind, intent, **figures)
    assert "unknown" == account(pair).phase
    assert PORTION_UL == account(pair).side(at).moved_ul
    assert "" == account(pair).unbooked


def test_a_late_report_of_more_counts() -> None:
    """The drain was believed to take 100 mL, and took 130."""
    pair, intent = halfway(at="drain")
    tell(pair, "ended", intent, **ended(PORTION_UL))
    tell(pair, "raised", intent, pump="out", charge_ul=130_000)
    assert 130_000 == account(pair).drain.moved_ul
    tell(pair, "raised", intent, pump="out", charge_ul=120_000)
    assert 130_000 == account(pair).drain.moved_ul


def test_a_fill_of_nothing_is_no_water_change() -> None:
    """It ended with nothing given: what left is missing, and counts so."""
    pair, intent = halfway(at="fill")
    tell(pair, "ended", intent, **ended(0))
    assert ("rest", "") == (account(pair).phase, account(pair).unbooked)
    found = mismatch_of(pair.state, "water", NET_UL)
    assert PORTION_UL == found.drained_more_ul


def test_a_fill_is_booked_by_its_own_change_alone() -> None:
    """A change of a person leaves it unbooked; its own books it, once."""
    pair, intent = halfway(at="fill")
    tell(pair, "ended", intent, **ended(PORTION_UL))
    assert (fill_of(SEVEN), PORTION_UL) == (
        account(pair).unbooked,
        account(pair).unbooked_ul,
    )
    for name, unbooked in (("w-1", fill_of(SEVEN)), (fill_of(SEVEN), "")):
        change = WaterChanged(
            **pair.stamp(),  # type: ignore[arg-type]  # the three clocks
            id=name,
            tank="reef",
            changed_at=pair.utc,
            volume_ul=PORTION_UL,
            by="keeper",
            topped_ul=7,
        )
        fold(pair.state, change)
        assert unbooked == account(pair).unbooked
    assert 7 == account(pair).topped_ul


def released(pair: Pair, hold_id: str, by: str) -> None:
    """A hold that stood is released."""
    hold = HoldRaised(
        **pair.stamp(),  # type: ignore[arg-type]  # the three clocks
        hold_id=hold_id,
        scope="pump/out",
        reason=because(Code.EXCHANGE_UNPROVEN),
        latched=False,
    )
    fold(pair.state, hold)
    fold(pair.state, HoldReleased(**pair.stamp(), hold_id=hold_id, by=by))  # type: ignore[arg-type]  # as above


def moved() -> Pair:
    """A pair that exchanged one litre."""
    pair = Pair()
    pair.until(24)
    return pair


@pytest.mark.parametrize(
    ("hold_id", "by", "left_ul"),
    [
        ("exchange-unproven/water", "keeper", 0),
        ("exchange-off/water", "keeper", 0),
        ("exchange/water", "keeper", 0),
        ("exchange/water", "daemon", LITRE_UL),
        ("exchange/brine", "keeper", LITRE_UL),
        ("leak/water", "keeper", LITRE_UL),
    ],
)
def test_a_person_who_releases_opens_a_new_account(
    hold_id: str, by: str, left_ul: int
) -> None:
    """Only a person, of this pair, and of what the account is about."""
    pair = moved()
    released(pair, hold_id, by)
    assert left_ul == account(pair).drain.moved_ul


PARTS = [("exchange-unproven/water", "owed"), ("exchange/water", "rest")]


@pytest.mark.parametrize(("hold_id", "phase"), PARTS)
def test_a_portion_under_way_outlives_a_release_about_something_else(
    hold_id: str, phase: Phase
) -> None:
    """It is owed still; where the hold was about it, a person made up for it."""
    pair, intent = halfway(at="drain")
    tell(pair, "ended", intent, **ended(PORTION_UL))
    released(pair, hold_id, "keeper")
    assert phase == account(pair).phase
    assert 0 == mismatch_of(pair.state, "water", NET_UL).drained_more_ul
    assert (phase == "owed") == (account(pair).dose == SEVEN)


def test_a_level_from_before_the_account_proves_nothing() -> None:
    """What was measured before a release speaks of water that was set right since."""
    pair = moved()
    pair.utc += timedelta(minutes=1)
    released(pair, "exchange-off/water", "keeper")
    fold(pair.state, level(pair, "waste", 48 * LITRE_UL))
    assert 0 == account(pair).drain.off_ul


def level(pair: Pair, container: str, volume_ul: int) -> LevelMeasured:
    """A level that is off by a litre."""
    return pair.measured(container, volume_ul, 1_000)


def test_a_level_that_is_coarser_than_the_books_proves_nothing() -> None:
    """One litre moved, read to half a litre: what was believed stays, and unproven."""
    pair = moved()
    fold(pair.state, replace(level(pair, "waste", 49_100_000), within_ul=500_000))
    drain = account(pair).drain
    assert (0, LITRE_UL) == (drain.off_ul, drain.unproven_ul)


def test_a_level_that_is_finer_than_the_books_takes_their_place() -> None:
    """One litre believed, 1.1 litres gone: a tenth more, and nothing is unproven."""
    pair = moved()
    fold(pair.state, replace(level(pair, "waste", 48_900_000), within_ul=5_000))
    drain = account(pair).drain
    assert (100_000, 0) == (drain.off_ul, drain.unproven_ul)
    # Twice the root of two even spreads of 20 and 5 mL (JCGM 100:2008, 4.3.7).
    assert 2 * ((20_000**2 + 5_000**2) / 3) ** 0.5 == pytest.approx(
        drain.within_ul, abs=1
    )


def shot(pair: Pair, ul: int) -> None:
    """A run of the drain into a cylinder, as a calibration makes it."""
    intent = next(
        one
        for one in reversed(pair.events)
        if isinstance(one, DoseIntended) and one.dose.pump == "out"
    )
    command = replace(intent.command, attempt="5" * 32, ul=ul)
    made = replace(
        intent,
        dose=replace(intent.dose, id="shot-1", line="", volume_ul=ul),
        dose_kind="calibrate",
        command=command,
        in_water=False,
        exchange="",
    )
    fold(pair.state, made)
    tell(pair, "ended", made, **ended(ul))


def test_what_a_calibration_took_between_two_levels_proves_nothing() -> None:
    """800 mL into a cylinder and poured back into the tank: nothing is off by it."""
    pair = moved()
    before = replace(account(pair).drain)
    shot(pair, 800_000)
    fold(pair.state, level(pair, "waste", 49 * LITRE_UL))
    assert before == account(pair).drain
    assert not mismatch_of(pair.state, "water", NET_UL).is_off


def test_levels_before_and_after_a_calibration_leave_nothing_unproven() -> None:
    """What was exchanged until the first of them is proven by it."""
    pair = moved()
    fold(pair.state, level(pair, "waste", 49 * LITRE_UL))
    proven = replace(account(pair).drain)
    shot(pair, 800_000)
    fold(pair.state, level(pair, "waste", 49 * LITRE_UL))
    assert (proven, 0) == (account(pair).drain, proven.unproven_ul)


def test_a_late_report_of_more_is_not_counted_again_by_a_level() -> None:
    """160 mL left and not 100, by a late report: the level shows the same 60 mL."""
    pair, intent = halfway(at="drain")
    tell(pair, "ended", intent, **ended(PORTION_UL))
    tell(pair, "raised", intent, pump="out", charge_ul=160_000)
    fold(pair.state, level(pair, "waste", 50 * LITRE_UL - 160_000))
    drain = account(pair).drain
    assert 160_000 == drain.moved_ul + drain.off_ul


def test_a_fill_from_an_older_checkpoint_judges_as_it_did() -> None:
    """It does not say what had been exchanged by then."""
    pair = moved()
    pair.state.fills["waste"].exchanged_ul = None
    shot(pair, 800_000)
    fold(pair.state, level(pair, "waste", 48_200_000))
    assert (0, 0) == (account(pair).drain.off_ul, account(pair).drain.unproven_ul)
