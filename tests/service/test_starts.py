"""Taking charge: crash loops latch, clean restarts and calm ones do not (H07)."""

import signal
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import (
    AnyEvent,
    DoseHeld,
    HoldRaised,
    HoldReleased,
    LedgerMade,
    Started,
    Stopped,
)
from slackwater.facts.now import Now
from slackwater.facts.reasons import Code
from slackwater.ledger.store import LedgerFile
from slackwater.service.loop import stamp_of, write
from slackwater.service.memory import LIVE_NAME, Memory, Mode
from slackwater.service.run import take_charge
from slackwater.service.wiring import Places, build
from tests.service.household import (
    MACHINE,
    Household,
    approve,
    dense_plan,
    enable,
    household,
    until,
)

# As a machine is that shortens nothing: three starts in ten minutes.
STRICT = MACHINE.replace("starts_allowed = 1000\n", "")
BEGIN = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)


@dataclass(slots=True)
class Hands:
    """A clock that is put forward by hand, all three ways alike."""

    passed: timedelta = field(default_factory=timedelta)

    def now(self) -> Now:
        """The clocks at this moment."""
        return Now(
            utc=BEGIN + self.passed,
            boot_s=1000.0 + self.passed.total_seconds(),
            boot_id="boot",
            synchronised=True,
        )


@dataclass(slots=True, kw_only=True)
class House:
    """A ledger and a machine file; daemons come and go without a broker."""

    places: Places
    clock: Hands = field(default_factory=Hands)

    def live(self, wait_s: float, *, clean: bool = False, mode: Mode = "live") -> None:
        """After a while a daemon takes charge, then ends, in peace or by a crash."""
        self.clock.passed += timedelta(seconds=wait_s)
        memory = Memory(self.places.state, mode)
        memory.open()
        rig = build(self.places, self.clock, memory, mode)
        take_charge(rig)
        if clean:
            write(rig, [Stopped(**stamp_of(rig), why="asked to stop")])
        rig.close()

    def release(self) -> None:
        """A person on the machine ends the hold."""
        with LedgerFile.open(self.places.state / LIVE_NAME) as ledger:
            newest = ledger.load().entries[-1].event
            ledger.append(
                [
                    HoldReleased(
                        at=newest.at,
                        boot_s=newest.boot_s,
                        proven_ms=newest.proven_ms,
                        hold_id=Code.START_STORM,
                        by="keeper",
                    )
                ]
            )

    def events(self) -> list[AnyEvent]:
        """Everything in the ledger."""
        path = self.places.state / LIVE_NAME
        with LedgerFile.open(path, writable=False) as ledger:
            return [entry.event for entry in ledger.load().entries]

    def storms(self) -> list[HoldRaised]:
        """Every hold there was, all of them for a storm."""
        holds = [event for event in self.events() if isinstance(event, HoldRaised)]
        assert {Code.START_STORM} >= {hold.reason.code for hold in holds}
        return holds


def house(folder: Path, changes: Mapping[str, str] | None = None) -> House:
    """A new ledger beside the strict machine, with texts of it changed."""
    places = Places(config=folder / "config", state=folder / "state")
    text = STRICT.replace("PORT", "1")
    for old, new in (changes or {}).items():
        text = text.replace(old, new)
    places.config.mkdir(parents=True)
    places.state.mkdir()
    (places.config / "slackwater.toml").write_text(text)
    made = LedgerMade(
        at=BEGIN,
        boot_s=1000.0,
        proven_ms=0,
        ledger_id="test",
        boot_id="boot",
        answered=True,
        by="keeper",
    )
    LedgerFile.create(places.state / LIVE_NAME, made).close()
    return House(places=places)


@pytest.mark.parametrize("mode", ["live", "shadow"])
def test_h07_the_third_start_after_a_crash_latches(tmp_path: Path, mode: Mode) -> None:
    """The first start follows nothing; three crashes later everything is held."""
    home = house(tmp_path)
    seen = []
    for _ in range(5):
        home.live(2.0, mode=mode)
        seen.append(len(home.storms()))
    assert [0, 0, 0, 1, 1] == seen
    hold = home.storms()[0]
    assert ("all", True, None) == (hold.scope, hold.latched, hold.until)
    assert 3 == hold.reason.figures["starts"]


@pytest.mark.parametrize(("apart_s", "expected"), [(300.0, 1), (301.0, 0)])
def test_h07_starts_that_are_far_enough_apart_are_no_storm(
    tmp_path: Path, apart_s: float, expected: int
) -> None:
    """Three within 600 s, both ends counted; a second more between them is enough."""
    home = house(tmp_path)
    for _ in range(8):
        home.live(apart_s)
        if home.storms():
            break
    assert expected == len(home.storms())


def test_h07_fifty_clean_restarts_in_a_minute_latch_nothing(tmp_path: Path) -> None:
    """Whoever stops and starts on purpose is not a crash loop."""
    home = house(tmp_path)
    for _ in range(50):
        home.live(1.2, clean=True)
    assert [] == home.storms()


def test_h07_clean_ends_between_do_not_hide_crashes(tmp_path: Path) -> None:
    """Every second end is a crash: the third of them latches all the same."""
    home = house(tmp_path)
    seen = []
    for number in range(7):
        home.live(20.0, clean=number % 2 == 1)
        seen.append(len(home.storms()))
    assert [0, 0, 0, 0, 0, 1, 1] == seen


def test_h07_fifty_crashes_in_a_minute_say_it_once(tmp_path: Path) -> None:
    """The latch stands; it does not fill the ledger."""
    home = house(tmp_path)
    for _ in range(50):
        home.live(1.2)
    assert 1 == len(home.storms())
    fences = [event.fence for event in home.events() if isinstance(event, Started)]
    assert sorted(set(fences)) == fences


def test_h07_a_release_by_a_person_counts_anew(tmp_path: Path) -> None:
    """The starts before it are settled: three more crashes, not one, latch again."""
    home = house(tmp_path)
    for _ in range(4):
        home.live(2.0)
    home.release()
    seen = []
    for _ in range(3):
        home.live(2.0)
        seen.append(len(home.storms()))
    assert [1, 1, 2] == seen


def test_h07_number_and_span_are_the_machine_s(tmp_path: Path) -> None:
    """Two in 60 s: the third start latches, and none that is a minute later."""
    limits = 'clock_confirmed = true\nstarts_allowed = 2\nstarts_within = "60 s"'
    changes = {"clock_confirmed = true": limits}
    quick, slow = house(tmp_path / "a", changes), house(tmp_path / "b", changes)
    for _ in range(3):
        quick.live(30.0)
        slow.live(61.0)
    assert (1, 0) == (len(quick.storms()), len(slow.storms()))


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household with the limits of a machine that shortens nothing."""
    with household(tmp_path, STRICT) as made:
        yield made


@pytest.mark.mosquitto
@pytest.mark.kill
@pytest.mark.timeout(120)
def test_h07_a_killed_process_comes_back_held(home: Household) -> None:
    """Four kills right after the start; the fifth daemon finds a dose due and waits."""
    for _ in range(4):
        daemon = home.start("appended:started", "1")
        assert -signal.SIGKILL == daemon.wait(timeout=20)
    approve(home, dense_plan(datetime.now(UTC), 10, 5, 500))
    enable(home)
    home.start()

    def held() -> list[DoseHeld]:
        return [event for event in home.events() if isinstance(event, DoseHeld)]

    until(lambda: bool(held()), "a dose that waits")
    until((home.folder / "delivered.json").exists, "the reef's account")
    assert Code.START_STORM in {reason.code for reason in held()[0].reasons}
    assert 0.0 == home.delivered_ul()
