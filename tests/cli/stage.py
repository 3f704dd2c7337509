"""A ledger made by `init`, with entries the daemon would have written."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from slackwater import __version__
from slackwater.cli.checked import check_files
from slackwater.cli.opening import opened, write
from slackwater.cli.reading import read_files
from slackwater.cli.receipt import LEAST_TRIED, Receipt, note
from slackwater.cli.report.extent import today_of
from slackwater.errors import SlackwaterError
from slackwater.facts.events import AnyEvent, Calibrated, Started, Stopped
from slackwater.facts.state import State
from slackwater.pump.command import calibration_id
from slackwater.pump.outcome import Stamp
from slackwater.service.standing import only_one
from tests.cli.run_program import SMALLEST, Outcome, changed, run

HIGHEST = "72 mL"
CAP = 'most_per_calibration = "60 mL"'
DAY_MS = 86_400_000
# The smallest sample begins then.
FIRST = date(2026, 5, 3)


@dataclass(slots=True)
class Stage:
    """One configuration and one ledger."""

    config: Path
    state: Path

    def run(self, verb: str, *words: object, typed: str = "") -> Outcome:
        """Run a verb here."""
        places = ("--config", self.config, "--state", self.state)
        return run(verb, *places, *words, typed=typed)

    def rehearsed(self, shown_days: int = 30, begins_in: int = 0) -> None:
        """Leave the note of a clean rehearsal with faults of what stands in the files.

        It shows so many days from today on, or from so many days later.

        A rehearsal with all faults takes seconds; `tests/cli/report` makes real ones.
        """
        files = read_files(self.config)
        today = today_of(files.machine, self.stamp()["at"])
        first = max(files.plan.starts, today + timedelta(days=begins_in))
        receipt = Receipt(
            digest=digest_of_files(self.config, stamp_of_files(self.config)),
            ledger=self.folded().ledger_id,
            software=__version__,
            report="5e" * 32,
            tried=LEAST_TRIED,
            missed=0,
            first=first,
            until=first + timedelta(days=shown_days - 1),
        )
        assert note(self.state, receipt)

    def approve(self, *words: object, highest: str = HIGHEST) -> Outcome:
        """Approve what stands in the files, rehearsed, as a script would."""
        # Without a ledger there is nothing to note, and the verb says so.
        with suppress(SlackwaterError):
            self.rehearsed()
        words = ("--by", "keeper", "--yes-highest-daily", highest, "--json", *words)
        return self.run("approve", *words)

    def folded(self) -> State:
        """The state of the ledger."""
        with opened(self.state) as found:
            return found.state

    def events(self) -> list[AnyEvent]:
        """Every entry in order."""
        with opened(self.state) as found:
            return [entry.event for entry in found.ledger.load().entries]

    def append(self, *events: AnyEvent) -> None:
        """Append entries as they are."""

        def decide(_state: State, _stamp: Stamp) -> Sequence[AnyEvent]:
            return events

        write(self.state, decide, makes_safer=True)

    def stamp(self, later_ms: int = 0) -> Stamp:
        """The clocks of now, with so much proven time more."""
        with opened(self.state) as found:
            stamp = found.stamp
        stamp["proven_ms"] += later_ms
        return stamp

    def rate_of(self, pump: str) -> int:
        """What a pump was measured at in these tests, nanolitres per second."""
        return {"carbonate": 512_000, "calcium": 498_000}[pump]

    def commission(
        self, *pumps: str, proofs: tuple[str, ...] = (), keep_place: bool = True
    ) -> None:
        """Record a calibration with all its proofs for some pumps."""
        for pump in pumps:
            rate = self.rate_of(pump)
            hangs = read_files(self.config).machine.pumps[pump]
            self.append(
                Calibrated(
                    **self.stamp(),
                    pump=pump,
                    rate_nl_per_s=rate,
                    cal=calibration_id(pump, rate),
                    shots=3,
                    spread_percent=1.0,
                    proofs=proofs or ("identity", "cut-off", "lost-link"),
                    by="keeper",
                    hw="virtual-0001",
                    cfg="0badcafe",
                    node=hangs.node if keep_place else "",
                    channel=hangs.channel if keep_place else "",
                )
            )

    def nothing_dosed(self, days: int) -> None:
        """Say that nothing was dosed in so many days before the ledger was made."""
        at = self.stamp()["at"] - timedelta(days=days)
        words = ("nothing_dosed", "--at", at.isoformat(timespec="seconds"))
        assert 0 == self.run("event", *words, "--by", "keeper").code

    def shadow(self, lasted_ms: int = DAY_MS) -> None:
        """Let a daemon have run in shadow for so much proven time."""
        begun, ended = self.stamp(), self.stamp(lasted_ms)
        self.append(
            Started(**begun, version="0", boot_id="earlier", fence=1, mode="shadow"),
            Stopped(**ended, why="asked to stop"),
        )


def stamp_of_files(config: Path) -> tuple[str, ...]:
    """What the texts of a configuration are, for as long as they stay so."""
    return tuple(path.read_text("utf-8") for path in sorted(config.glob("*.toml")))


@cache
def digest_of_files(config: Path, _texts: tuple[str, ...]) -> str:
    """The digest of files that can be read; empty where lines are at fault."""
    return check_files(read_files(config)).digest


def stage_of(folder: Path, config: Path = SMALLEST) -> Stage:
    """A fresh ledger beside a configuration."""
    stage = Stage(config, folder / "state")
    assert 0 == stage.run("init", "--dosed-nothing", "--by", "keeper").code
    return stage


@contextmanager
def beside_a_daemon(folder: Path) -> Iterator[Stage]:
    """The smallest sample, live, beside a daemon; 5 mL may be given by hand."""
    by_hand = (CAP, f'{CAP}\nmost_by_hand = "5 mL"\nmost_per_priming = "20 mL"')
    config = changed(folder / "config", SMALLEST, slackwater=by_hand)
    made = stage_of(folder, config)
    made.commission("carbonate", "calcium")
    assert 0 == made.approve("--now").code
    made.shadow()
    assert 0 == made.run("enable").code
    with only_one(made.state):
        yield made
