"""How many runs a calibration takes: until the flow is known, or something ends it.

The dialogue runs with an invented pump of 500 µL a second; how far the books of a pump
measured so part from the water is what the bench of that name finds. The limits are
common practice, no source; the 1 % of a day is a goal of the project's own.
"""

from dataclasses import replace
from statistics import fmean

import click
import pytest
from click.testing import CliRunner

from slackwater.cli.commands.calibrating import words_of
from slackwater.cli.runs_asked import Asked, series_of, within
from slackwater.cli.series import Series
from slackwater.cli.shooting import Measured, _wait_teller, measure
from slackwater.errors import InputError, RefusedError, SlackwaterError
from slackwater.facts.reasons import Code, because
from slackwater.facts.relays import Relay
from slackwater.service.calibrating import Shot, Wait, Watch
from tests.bench import booked
from tests.gate.scene import machine
from tests.gate.test_interlocks import measured as calibrated

OPEN = Series(
    pump="carbonate",
    volumes_ul=(500, 1500),
    rate_nl_per_s=500_000,
    shots=10,
    within_percent=0.75,
)


def said(
    *words: str, room_ul: int = 10**6, series: Series = OPEN
) -> tuple[Measured | SlackwaterError | None, str]:
    """What the dialogue comes to, and what it says on its way."""
    found: list[Measured | SlackwaterError] = []

    @click.command()
    def dialogue() -> None:
        try:
            found.append(measure(shoot, series, lambda: room_ul))
        except SlackwaterError as error:
            found.append(error)

    outcome = CliRunner().invoke(dialogue, input="".join(f"{w}\n" for w in words))
    return found[0] if found else None, " ".join(outcome.stderr.split())


def shoot(_pump: str, volume_ul: int, watch: Watch) -> Shot:
    """A shot that ends as it should, after a rest."""
    watch((Wait(reason=because(Code.GAP_SAME_PUMP)),))
    return Shot(ran_ms=volume_ul * 2, believed_ul=volume_ul, how="full")


# Ten shots of 0.5 mL and of 1.5 mL each; the second pump is less steady.
STEADY = ("4.90 mL", "14.90 mL", "4.91 mL", "14.88 mL")
UNSTEADY = ("4.80 mL", "14.80 mL", "4.95 mL", "15.10 mL")


def test_a_steady_pump_is_known_after_six_runs() -> None:
    """Sixty shots that agree need no seventh run; each run is read once."""
    found, text = said(*STEADY, *STEADY[:2])
    assert isinstance(found, Measured)
    assert (6, 60, 59_390) == (len(found.runs), found.shots, found.volume_ul)
    assert "Run 1: 10 shots of 500 µL" in text
    assert f"known to ±{found.flow.within_percent:.2f} %: well enough." in text


def test_why_shots_wait_is_said_once_a_run() -> None:
    """Each of sixty shots rests, behind a relay for a minute; six lines say so."""
    _, text = said(*STEADY, *STEADY[:2])
    assert 6 == text.count("waits: Too soon after the pump's last run.")


def test_a_hold_that_makes_a_shot_wait_is_named_with_its_release(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who stands beside the cylinder can end it at once."""
    monkeypatch.setenv("COLUMNS", "200")
    taken = Wait(reason=because(Code.TAKEN_OVER), hold="connection-taken-over/all")
    tell = _wait_teller()
    tell((taken,))
    tell((taken, Wait(reason=because(Code.LINK_DOWN))))
    lines = [line.strip() for line in capsys.readouterr().err.splitlines()]
    release = "End it: `slackwater release connection-taken-over/all`."
    link = "It ends when the broker answers again."
    assert [
        f"waits: {because(Code.TAKEN_OVER).text} {release}",
        f"waits: {because(Code.LINK_DOWN).text} {link}",
    ] == lines


def test_an_unsteady_pump_goes_on_and_says_how_long() -> None:
    """The seventh run of such a pump is asked for, with how much more it takes."""
    found, text = said(*UNSTEADY, *STEADY[:2])
    assert found is None
    assert "Run 7:" in text
    assert "±0.75 % is wanted: about 12 runs more, 120 mL." in text


def test_a_person_may_have_enough() -> None:
    """What was measured is kept, with the wider interval; before that it is no word."""
    found, _ = said(*UNSTEADY, "enough")
    assert isinstance(found, Measured)
    assert 4 == len(found.runs)
    assert found.flow.within_percent > OPEN.within_percent
    early, _ = said("enough")
    assert isinstance(early, InputError)


def test_the_cap_of_the_hour_ends_it() -> None:
    """No shot waits an hour for its turn; the text says how much would be needed."""
    found, text = said(*UNSTEADY, room_ul=19_999)
    assert isinstance(found, Measured)
    assert "No more than 19.999 mL may flow now; it ends here." in text
    unending, _ = said(*UNSTEADY, room_ul=20_000)
    assert unending is None


def test_so_many_runs_are_the_most() -> None:
    """Nobody reads a cylinder for ever."""
    found, text = said(*UNSTEADY, series=replace(OPEN, most_runs=5))
    assert isinstance(found, Measured)
    assert "4 runs are the most; it ends here." in text


def test_runs_that_were_counted_ahead_are_all_taken() -> None:
    """A script that asked for six answers six, however well they agree."""
    found, _ = said(*STEADY, *STEADY[:2], series=replace(OPEN, runs=6))
    assert isinstance(found, Measured)
    assert 6 == len(found.runs)


PUMP = replace(machine().pumps["carbonate"], rate_nl_per_s=500_000)


def fitted(room_ul: int, *, may_shrink: bool = True) -> Series:
    """Twelve shots a run as they fit what may flow."""
    series = asked(80)
    return within(series, PUMP, room_ul, may_shrink=may_shrink)


def test_a_node_with_little_left_gets_fewer_shots() -> None:
    """Six runs take nine tenths of it; one shot a run takes 4 mL for four runs."""
    assert (12, 7, 1) == (
        fitted(80_000).shots,
        fitted(47_000).shots,
        fitted(4_000).shots,
    )
    assert 500 == fitted(4_000).shot_ul(0)


def test_a_node_with_nothing_left_is_told_before_a_run_waits() -> None:
    """A shot would wait for hours; what was asked for is not made fewer."""
    with pytest.raises(RefusedError, match=r"at most 3\.999 mL now"):
        fitted(3_999)
    with pytest.raises(RefusedError, match="4 runs are 48 mL together"):
        fitted(47_999, may_shrink=False)
    assert 12 == fitted(48_000, may_shrink=False).shots


NOTHING: Asked = {"runs": None, "shots": None, "volume": ()}


def asked(cap_ml: int, wishes: Asked = NOTHING) -> Series:
    """The runs of a pump of 30 mL/min with such a cap."""
    pump = replace(PUMP, per_calibration_ul=cap_ml * 1000)
    return series_of(pump, machine(), wishes)


def test_where_nobody_says_a_shot_is_a_second_and_three() -> None:
    """30 mL/min: 0.5 and 1.5 mL, twenty to a run, as many runs as it takes."""
    found = asked(200)
    assert ((500, 1500), 20, None) == (found.volumes_ul, found.shots, found.runs)


@pytest.mark.parametrize(
    ("cap_ml", "shots"), [(134, 20), (133, 19), (60, 9), (20, 3), (4, 1)]
)
def test_fewer_shots_where_the_cap_is_small(cap_ml: int, shots: int) -> None:
    """Six runs, 1 mL a shot on the average, take nine tenths of it at the most."""
    assert shots == asked(cap_ml).shots


def test_a_relay_of_one_pulse_is_asked_for_that_pulse() -> None:
    """6 s of 30 mL/min are 3 mL; three to a run, fewer where the cap is small."""
    used = machine()
    relay = Relay(
        on_topic="a",
        on_payload="on",
        off_topic="a",
        off_payload="off",
        state_topic="b",
        always_ms=6_000,
    )
    node = replace(used.nodes[PUMP.node], relay=relay)
    used = replace(used, nodes={**used.nodes, node.id: node})
    found = {
        cap_ml: series_of(
            replace(PUMP, per_calibration_ul=cap_ml * 1000), used, NOTHING
        )
        for cap_ml in (60, 40)
    }
    assert ((3_000,), 3, True) == (
        found[60].volumes_ul,
        found[60].shots,
        found[60].one_length,
    )
    assert 2 == found[40].shots
    assert 6 == found[60].most_runs


def test_what_was_asked_for_is_not_made_fewer() -> None:
    """It is refused, with what it takes and the cap."""
    wishes: Asked = {"runs": 6, "shots": 12, "volume": ()}
    with pytest.raises(RefusedError, match="6 runs are 72 mL together"):
        asked(60, wishes)


@pytest.mark.parametrize(
    ("wishes", "where"),
    [
        ({"runs": 2, "shots": None, "volume": ()}, "--runs"),
        ({"runs": None, "shots": 0, "volume": ()}, "--shots"),
    ],
)
def test_too_few_are_refused(wishes: Asked, where: str) -> None:
    """Two runs show no spread, and a run has a shot."""
    with pytest.raises(InputError) as refusal:
        asked(60, wishes)
    assert [where] == [finding.where for finding in refusal.value.findings]


def test_the_day_after_is_booked_as_it_flowed() -> None:
    """Invented pumps whose shots err by up to 5 %, each measured as nobody said how.

    If 95 of 100 pumps are booked within 1 %, fewer than 106 of 120 come once in 1 000
    times (binomial). With three shots a run 14 % of the calibrations are kept at all.
    """
    found = booked.figures(120)
    assert found["calibrations kept"] >= 0.95
    assert found["96 doses within 1 %"] >= 106 / 120


@pytest.mark.parametrize("spread", [0.05, 0.01])
def test_what_check_states_of_a_day_holds_on_nineteen_days_of_twenty(
    spread: float,
) -> None:
    """Of 250 invented pumps each, days of 24, 48 and 96 doses, one seed for all."""
    found = booked.figures(250, "stated", spread)
    held = [found[f"{doses} doses within what is stated"] for doses in (24, 48, 96)]
    assert fmean(held) >= 0.95, held
    stated = [found[f"{doses} doses stated within, % (median)"] for doses in (24, 96)]
    assert stated[1] < stated[0] < 1.6


@pytest.mark.parametrize("one_length", [False, True])
def test_a_relay_with_one_pulse_is_told_by_its_pulse(*, one_length: bool) -> None:
    """No smaller dose is reliable there, and no run makes up for a start."""
    found, _ = said(*STEADY, *STEADY[:2])
    assert isinstance(found, Measured)
    kept = replace(calibrated("77aa01cf"), smallest_ul=62)
    text = words_of(kept, found, [], one_length=one_length)
    assert one_length is ("Each dose is one pulse and gives 990 µL." in text)
    assert one_length is ("Smallest reliable dose" not in text)
    assert one_length is ("runs make up for it" not in text)
