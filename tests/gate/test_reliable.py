"""The smallest reliable dose: what is below it is not given, and not made up."""

from dataclasses import replace

import pytest

from slackwater.facts.events import Calibrated
from slackwater.facts.reasons import Code
from slackwater.facts.reliable import as_measured, smallest_dose_ul
from slackwater.facts.stages import HalfBegan
from slackwater.gate.moment import Moment
from slackwater.gate.verdict import Granted, Refused, may_dose
from tests.gate.scene import NOW, TODAY, ask, moment

CAL = "77aa01cf"


def measured(smallest_ul: int) -> Moment:
    """A healthy moment; the carbonate pump's calibration, approved, says this."""
    at = moment()
    assert at.approval is not None
    at.state.calibrations["carbonate"] = Calibrated(
        at=NOW,
        boot_s=1.0,
        proven_ms=1,
        pump="carbonate",
        rate_nl_per_s=1_333_000,
        cal=CAL,
        shots=4,
        spread_percent=0.5,
        proofs=(),
        by="keeper",
        smallest_ul=smallest_ul,
    )
    approval = replace(at.approval, calibrations={"carbonate": CAL})
    return replace(at, approval=approval)


def halved(smallest_ul: int) -> Moment:
    """The same while every dose is halved."""
    at = measured(smallest_ul)
    at.state.halves["all"] = HalfBegan(
        at=NOW,
        boot_s=1.0,
        proven_ms=at.proven_ms,
        scope="all",
        from_at=NOW,
        lasts_s=86_400.0,
        why="new",
        by="keeper",
    )
    return at


@pytest.mark.parametrize(("smallest_ul", "is_given"), [(2000, True), (2001, False)])
def test_a_whole_dose_below_what_is_reliable_is_not_given(
    smallest_ul: int, *, is_given: bool
) -> None:
    """2 mL, to the microlitre; a refusal is final, so nothing waits for later."""
    at = measured(smallest_ul)
    verdict = may_dose(at, ask(at), TODAY)
    if is_given:
        assert isinstance(verdict, Granted)
        return
    assert isinstance(verdict, Refused)
    assert verdict.final
    (reason,) = verdict.reasons
    assert (Code.TOO_SMALL, 2001) == (reason.code, reason.figures["smallest_ul"])


def test_shortened_doses_take_turns_by_what_was_measured() -> None:
    """Half of 2 mL with 1.5 mL reliable: whole 1.5 mL at some doses, at others none.

    Twelve doses of 2 mL, halved, are 12 mL: eight of 1.5 mL, and nothing carried over.
    """
    at = halved(1500)
    dose = ask(at).dose
    given = [
        may_dose(
            at,
            replace(ask(at), dose=replace(dose, ordinal=ordinal, id=f"{ordinal}")),
            TODAY,
        )
        for ordinal in range(1, 13)
    ]
    volumes = [one.volume_ul if isinstance(one, Granted) else 0 for one in given]
    assert {0, 1500} == set(volumes)
    assert 12_000 == sum(volumes)


@pytest.mark.parametrize(
    ("measured_ul", "expected_ul"), [(0, 300), (299, 300), (301, 301)]
)
def test_what_was_measured_only_raises_the_smallest_dose(
    measured_ul: int, expected_ul: int
) -> None:
    """The file says 0.3 mL; a pump that is finer than that stays as it was stated."""
    at = measured(measured_ul)
    pump = at.machine.pumps["carbonate"]
    assert expected_ul == smallest_dose_ul(at.state, pump)
    machine = as_measured(at.machine, at.state)
    assert expected_ul == machine.pumps["carbonate"].smallest_dose_ul
    assert (machine is at.machine) == (expected_ul == pump.smallest_dose_ul)


def test_a_calibration_shot_may_be_smaller() -> None:
    """A run into a cylinder is asked for by a person, however small."""
    at = measured(5000)
    shot = replace(ask(at), kind="calibrate", line=None)
    assert isinstance(may_dose(at, shot, TODAY), Granted)
