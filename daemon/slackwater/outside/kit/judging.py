"""The judge: asks a node case by case and says which rules it keeps.

Floor 6. One subject: cases and situations to findings. Laws here: the node is believed
in nothing but its messages; what was refused must have changed nothing; whatever was
set going is stopped and every hold taken back, also after a fault.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.outside.kit.bench import BEAT_S, PATIENCE_S, Bench, phase_of
from slackwater.outside.kit.cases import CASES, RULES, Case
from slackwater.outside.kit.plate import At, Value
from slackwater.outside.wire import ChannelPayload

# Silence is shown by waiting for it; what moved anyway shows in the next beat.
SILENCE_S = 0.5
# More runs than any day limit holds of the largest dose.
DRAINS_AT_MOST = 500
SCENES = ("beat", "ended", "echo", "stop")
ALL_RULES = (*SCENES, "taken", *RULES, "power")
# A person has this long to switch a node off and on.
POWER_S = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing that was asked; `kept` is None where it could not be tried."""

    rule: str
    case: str
    kept: bool | None
    expected: str
    answered: str


@dataclass(slots=True, kw_only=True)
class Judge:
    """Judges one head; `wanted` is the rules to ask, all of them when empty.

    `power_cycle` has the node switched off and on; None where nobody does.
    """

    bench: Bench
    wanted: Sequence[str] = ()
    silence_s: float = SILENCE_S
    power_cycle: Callable[[], None] | None = None
    found: list[Found] = field(default_factory=list)

    def judge(self) -> list[Found]:
        """Ask everything; give what was found, in order."""
        bench = self.bench
        bench.wire.say("hold", b"", retain=True)
        if not bench.until(lambda: bool(bench.told.beats)):
            self._note(
                "beat", "first", "a beat within 15 s", "none in form", kept=False
            )
        elif self.bench.plate.chan not in bench.told.beats[-1].chan:
            channels = ", ".join(bench.told.beats[-1].chan)
            self._note("beat", "channel", bench.plate.chan, channels, kept=False)
        elif not bench.until(lambda: bench.state() == "idle", 2 * BEAT_S):
            self._note("beat", "free", "idle", bench.state(), kept=False)
        else:
            self._ask_all()
        return self.found

    def _ask_all(self) -> None:
        try:
            self._begin()
            wanted = [rule for rule in ALL_RULES if rule in (self.wanted or ALL_RULES)]
            for rule in wanted:
                self._ask(rule)
            # Last, because it uses up a day's room.
            for rule in wanted:
                self._in("spent", self._cases(rule, "spent"))
            if "power" in wanted:
                self._powered()
        finally:
            self.bench.rest()
        spoilt = self.bench.told.spoilt
        if spoilt:
            self._note("beat", "form", "messages in form", spoilt[0], kept=False)

    def _begin(self) -> None:
        """A run with a new fence, so that a lower number and a lower fence exist."""
        for _ in range(2):
            answered = self.bench.first(self.bench.run(fence=At("fence", 1)))
            if answered != "taken":
                self._note("taken", "first", "taken", answered or "nothing", kept=False)
            self.bench.rest()

    def _ask(self, rule: str) -> None:
        scenes: Mapping[str, Callable[[], None]] = {
            "beat": self._beat,
            "ended": self._ended,
            "echo": self._echo,
            "stop": self._stopped,
            "repeat": self._repeated,
        }
        if rule in scenes:
            scenes[rule]()
        for situation in ("idle", "running", "held"):
            self._in(situation, self._cases(rule, situation))

    def _cases(self, rule: str, situation: str) -> list[Case]:
        asked = [case for case in CASES if case.rule == rule]
        return [x for x in asked if x.situation == situation and self._fits(x)]

    def _fits(self, case: Case) -> bool:
        if case.retained and not self.bench.wire.delivers_old:
            self._note(case.rule, case.name, "refused retained", "not tried", kept=None)
            return False
        return case.signs is None or case.signs == bool(self.bench.plate.key)

    def _in(self, situation: str, cases: Sequence[Case]) -> None:
        if not cases:
            return
        bring_about: Mapping[str, Callable[[], bool]] = {
            "idle": self.bench.rest,
            "running": self.bench.start_long,
            "held": self.bench.hold,
            "spent": self._drain,
        }
        if not bring_about[situation]():
            for case in cases:
                self._note(case.rule, case.name, situation, "not to be had", kept=False)
            self.bench.rest()
            return
        for case in cases:
            before = self.bench.marks()
            if self._try(case) and situation == "running":
                self.bench.start_long()
            if case.answer != "taken" and situation != "running":
                self._compare(case, before)
        self.bench.rest()

    def _drain(self) -> bool:
        """Use up the room by long runs that are stopped at once."""
        large_ul = self.bench.plate.figures()["long_ul"]
        for _ in range(DRAINS_AT_MOST):
            if self.bench.room_ul() < large_ul:
                return True
            if not (self.bench.start_long() and self.bench.rest()):
                return False
        return False

    def _try(self, case: Case) -> bool:
        """Ask one case; whether it moved anything."""
        n = self.bench.n()
        command_id = self.bench.send(case)
        silent = case.answer in {"silent", "quiet"} or case.may_be_silent
        patience_s = self.silence_s if silent else PATIENCE_S
        answered = self.bench.first(command_id, patience_s)
        expected = f"refused {case.reason}" if case.reason else case.answer
        kept = answered == expected or (silent and not answered)
        if case.answer == "quiet":
            kept = not answered.startswith("refused")
        self._note(case.rule, case.name, expected, answered or "nothing", kept=kept)
        if answered != "taken":
            return False
        self.bench.until(lambda: self.bench.n() == n + 1)
        self.bench.rest()
        return True

    def _compare(self, case: Case, before: Mapping[str, object]) -> None:
        """Look at the newest beat: what was refused has changed nothing."""
        after = self.bench.marks()
        if after != before:
            name = f"{case.name}-after"
            self._note(case.rule, name, f"{before}", f"{after}", kept=False)

    def _beat(self) -> None:
        """Two beats: the same power-up, a higher count, uptime that went on."""
        beats = self.bench.told.beats
        count = len(beats)
        came = self.bench.until(lambda: len(beats) > count)
        first, last = beats[count - 1], beats[-1]
        same = (first.boot, first.cfg, first.hw) == (last.boot, last.cfg, last.hw)
        fine = came and same and last.seq > first.seq and last.up >= first.up
        shown = f"seq {first.seq} to {last.seq}, up {first.up} to {last.up} ms"
        self._note("beat", "goes-on", "a later beat of one power-up", shown, kept=fine)

    def _ended(self) -> None:
        """A run left alone ends by itself, complete, after its time."""
        ms = self.bench.plate.figures()["ms"]
        result = self.bench.whole_run()
        shown = f"{phase_of(result)} {result.ran_ms} ms" if result else "nothing"
        fine = result is not None and result.reason == "complete"
        fine = fine and result is not None and result.ran_ms >= ms
        self._note("ended", "complete", f"ended complete, {ms} ms", shown, kept=fine)
        self.bench.rest()

    def _echo(self) -> None:
        """The next beat settles the run: number, last run, odometer, room."""
        plate, bench = self.bench.plate, self.bench
        before, hour = bench.told.beats[-1].chan[plate.chan], bench.hour()
        result = bench.whole_run()
        if result is None:
            self._note("echo", "run", "a run that ends", "none", kept=False)
            return
        bench.rest()
        after = bench.told.beats[-1].chan[plate.chan]
        last, asked_ul = after.last, plate.figures()["ul"]
        used_ul = before.budget_ul - after.budget_ul
        for name, expected, found in (
            ("number", before.n + 1, after.n),
            ("odometer", before.odo_ul + result.ul, after.odo_ul),
            ("time", before.odo_ms + result.ran_ms, after.odo_ms),
            ("last-run", result.id, last.id if last else "none"),
            ("last-amount", result.ul, last.ul if last else "none"),
            ("calibration", "77aa01cf", last.cal if last else "none"),
            ("room", max(asked_ul, result.ul), used_ul),
        ):
            # An hour that ends meanwhile gives room back.
            kept = expected == found or (name == "room" and hour != bench.hour())
            self._note("echo", name, f"{expected}", f"{found}", kept=kept)

    def _stopped(self) -> None:
        """A stop for the channel, one for all, and a hold: each ends a run."""
        bench = self.bench
        acts: Mapping[str, Callable[[], object]] = {
            "one": bench.stop,
            "all": lambda: bench.stop(every_channel=True),
            "hold": bench.hold,
        }
        for name, act in acts.items():
            runs = bench.start_long()
            count = len(bench.told.results)
            act()
            bench.until(lambda c=count: len(bench.told.results) > c)  # type: ignore[misc]  # bound now
            news = bench.told.results[count:]
            shown = phase_of(news[-1]) if news and runs else "nothing"
            kept = shown == "ended stopped"
            self._note("stop", name, "ended stopped", shown, kept=kept)
            bench.rest()

    def _repeated(self) -> None:
        """The same id again is answered again and moves nothing, whatever it says."""
        bench = self.bench
        command_id = bench.run()
        taken = bench.first(command_id) == "taken"
        bench.rest()
        marks = bench.marks()
        stale: Mapping[str, Mapping[str, Value]] = {
            "as-it-was": {"n": At("n", -1)},
            "other-boot": {"boot": "0" * 16},
            "lower-fence": {"fence": At("fence", -1)},
            "far-number": {"n": At("n", 5)},
            "too-late": {"until_up": 0},
            "next-number": {},
        }
        for name, changes in stale.items():
            count = len(bench.answers(command_id))
            case = Case(name="", rule="", answer="quiet", changes=changes)
            bench.send(case, command_id)
            bench.until(
                lambda c=count: len(bench.answers(command_id)) > c,  # type: ignore[misc]  # bound now
                PATIENCE_S,
            )
            again = bench.answers(command_id)[count:]
            shown = phase_of(again[0]) if again else "nothing"
            kept = taken and shown.startswith("ended")
            self._note("repeat", name, "ended, as before", shown, kept=kept)
        bench.rest()
        kept = marks == bench.marks()
        self._note("repeat", "after", f"{marks}", f"{bench.marks()}", kept=kept)

    def _powered(self) -> None:
        """A power-up: new id, number 0, no room, a self-test, nothing left over."""
        bench = self.bench
        if self.power_cycle is None:
            self._note("power", "cycle", "a new boot id", "not tried", kept=None)
            return
        old = bench.told.beats[-1].boot
        planted = bench.run_left_lying()
        self.power_cycle()
        came = bench.until(lambda: bench.told.beats[-1].boot != old, POWER_S)
        self._note("power", "boot", "a new boot id", f"new: {came}", kept=came)
        held = bench.first(bench.run())
        first = next((x for x in bench.told.beats if x.boot != old), None)
        if first is not None:
            self._fresh(first.chan[bench.plate.chan], held)
        lying = bench.first(planted, self.silence_s) or "nothing"
        kept = lying in {"nothing", "refused retained"}
        self._note("power", "left-lying", "refused retained", lying, kept=kept)
        bench.wire.say("command", b"", retain=True)
        bench.until(lambda: bench.state() == "idle", 2 * BEAT_S)

    def _fresh(self, head: ChannelPayload, held: str) -> None:
        """What the first beat after a power-up shows, and what a run then hears."""
        for name, expected, found in (
            ("number", 0, head.n),
            ("odometer", 0, head.odo_ul),
            ("room", 0, head.budget_ul),
            ("state", "starting", head.state),
            ("self-test", "refused held", held),
        ):
            kept = expected == found
            self._note("power", name, f"{expected}", f"{found}", kept=kept)

    def _note(
        self, rule: str, case: str, expected: str, answered: str, *, kept: bool | None
    ) -> None:
        self.found.append(
            Found(rule=rule, case=case, kept=kept, expected=expected, answered=answered)
        )
