"""The invented reef as a program, from arguments to a real broker."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from demo.reef.reef import SAMPLE, main, read_options
from tests.demo.nodes import attempt, encoded, run_fields, stop_bytes
from tests.outside.peers import LOOPBACK, Peer, until

ROOT = "slackwater/1/home"
NODE = f"{ROOT}/node/shelf"
# The repository: the demo runs from its top.
TOP = SAMPLE.parents[2]


class Reef:
    """A running reef, its files and a client beside it."""

    def __init__(self, folder: Path, port: int, peer: Peer) -> None:
        self.delivered = folder / "delivered.json"
        self.control = folder / "control.json"
        self.peer = peer
        self._folder = folder
        self._port = port
        self.running: subprocess.Popen[str] | None = None

    def start(self, state: str = "idle") -> None:
        """Run the program with short times and wait for this state of its node."""
        command = [sys.executable, "-m", "demo.reef", "--host", LOOPBACK]
        command += ["--port", str(self._port), "--delivered", str(self.delivered)]
        command += ["--control", str(self.control), "--self-test-s", "0.3"]
        command += ["--beat-s", "0.2", "--reading-s", "0.2"]
        self.running = subprocess.Popen(
            command,
            cwd=TOP,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        until(lambda: self._is(state), f"a node that is {state}")

    def clear_away(self) -> None:
        """End it for sure, whatever the test came to."""
        if self.running is not None and self.running.poll() is None:
            self.running.kill()
            self.running.communicate(timeout=10)

    def end(self, kind: int = signal.SIGTERM) -> tuple[int, str]:
        """Ask it to end; exit code and what it complained of."""
        assert self.running is not None
        self.running.send_signal(kind)
        _, complaints = self.running.communicate(timeout=10)
        return self.running.returncode, complaints

    def fault(self, **faults: object) -> None:
        """Replace the control file."""
        named = {name.replace("_", "-"): value for name, value in faults.items()}
        draft = self._folder / "control.draft"
        draft.write_text(json.dumps(named))
        draft.replace(self.control)

    def said(self, suffix: str) -> list[dict[str, Any]]:
        """Payloads of one of the node's topics so far."""
        return [json.loads(each) for each in self.peer.payloads(f"{NODE}/{suffix}")]

    def state(self) -> str:
        """Whether it says that it is there; nothing before it said a word."""
        return "".join(each["state"] for each in self.said("state")[-1:])

    def beat(self) -> dict[str, Any]:
        """The newest beat."""
        return self.said("beat")[-1]

    def send_run(self, number: int, **changes: object) -> None:
        """Ask for 200 uL in 400 ms with the node's present boot and number."""
        beat = self.beat()
        fields: dict[str, object] = {
            "id": attempt(number),
            "boot": beat["boot"],
            "n": beat["chan"]["a"]["n"],
            "ul": 200,
            "ms": 400,
            "cut_ms": 600,
            "until_up": beat["up"] + 8_000,
        }
        self.peer.say(f"{NODE}/command", encoded(run_fields(**{**fields, **changes})))

    def phases(self, number: int) -> list[str]:
        """What the node said about one command, in order."""
        said = [each for each in self.said("result") if each["id"] == attempt(number)]
        return [each["reason"] or each["phase"] for each in said]

    def account(self) -> dict[str, Any]:
        """The reef's own account as it stands."""
        read: dict[str, Any] = json.loads(self.delivered.read_bytes())
        return read

    def _is(self, state: str) -> bool:
        assert self.running is not None
        assert self.running.poll() is None, "the reef ended by itself"
        beats = self.said("beat")
        return bool(beats) and beats[-1]["chan"]["a"]["state"] == state


@pytest.fixture
def reef(tmp_path: Path, broker_port: tuple[str, int]) -> Iterator[Reef]:
    """A reef that is ready to start and surely ends with the test."""
    with Peer(broker_port[1], f"{ROOT}/#") as peer:
        started = Reef(tmp_path, broker_port[1], peer)
        yield started
        started.clear_away()


@pytest.mark.mosquitto
def test_a_dose_from_command_to_water(reef: Reef) -> None:
    """Taken, ended, odometer, and the true volume in the account at the end."""
    reef.start()
    reef.send_run(1)
    until(lambda: reef.phases(1) == ["taken", "complete"], "the run")
    until(lambda: reef.beat()["chan"]["a"]["state"] == "idle", "idleness")
    ended = reef.said("result")[-1]
    assert reef.end() == (0, "")
    assert reef.beat()["chan"]["a"]["odo_ms"] == ended["ran_ms"]
    # 497 uL/s for as long as the output really was on.
    assert reef.account()["delivered_ul"] == {
        "carbonate": round(0.497 * ended["ran_ms"], 3),
        "calcium": 0.0,
    }
    assert 400 <= ended["ran_ms"] < 600


@pytest.mark.mosquitto
def test_a_repeated_command_flows_once(reef: Reef) -> None:
    """Hazard H11: three copies on the wire, one run in the water."""
    reef.start()
    beat = reef.beat()
    fields = {"boot": beat["boot"], "n": 0, "until_up": beat["up"] + 8_000}
    for _ in range(3):
        reef.send_run(1, **fields)
    until(lambda: "complete" in reef.phases(1), "the run")
    reef.send_run(1, **fields)
    until(lambda: len(reef.phases(1)) == 5, "the re-answer")
    assert reef.phases(1) == ["taken", "running", "running", "complete", "complete"]
    assert reef.beat()["chan"]["a"]["n"] == 1


@pytest.mark.mosquitto
def test_a_stop_leaves_a_partial_volume(reef: Reef) -> None:
    """What flowed before the stop is in result and account, no more."""
    reef.start()
    reef.send_run(1, ul=5_000, ms=10_000, cut_ms=12_000)
    until(lambda: reef.phases(1) == ["taken"], "the run")
    # A stop in the very millisecond of the start would leave nothing to account.
    until(lambda: reef.beat()["chan"]["a"]["odo_ms"] > 0, "an output that is on")
    reef.peer.say(f"{NODE}/command", stop_bytes())
    until(lambda: reef.phases(1) == ["taken", "stopped"], "the stop")
    ended = reef.said("result")[-1]
    reef.end()
    delivered_ul = reef.account()["delivered_ul"]["carbonate"]
    assert delivered_ul == round(0.497 * ended["ran_ms"], 3)
    assert 0 < delivered_ul < 4_000


@pytest.mark.mosquitto
def test_a_retained_hold_outlives_the_reef(reef: Reef) -> None:
    """Set before the node starts, it refuses; cleared, it lets run."""
    reef.peer.say(f"{NODE}/hold", b'{"v":1,"by":"test"}', retain=True)
    reef.peer.say(f"{NODE}/command", b"{}", retain=True)
    reef.start("held")
    assert reef.beat()["hold"] is True
    reef.send_run(1)
    until(lambda: reef.phases(1) == ["held"], "the refusal")
    reef.peer.say(f"{NODE}/hold", b"", retain=True)
    until(lambda: reef.beat()["hold"] is False, "the release")
    reef.send_run(2)
    until(lambda: reef.phases(2) == ["taken", "complete"], "the run")


@pytest.mark.mosquitto
def test_results_can_be_dropped_while_running(reef: Reef) -> None:
    """Hazard H18: switched on by the file, the beat alone tells of the run."""
    reef.start()
    reef.fault(drop_results=True, over_deliver={"carbonate": 2.0})
    _settle(reef)
    reef.send_run(1)
    until(lambda: "last" in reef.beat()["chan"]["a"], "the end in a beat")
    ran_ms = reef.beat()["chan"]["a"]["last"]["ran_ms"]
    reef.end()
    assert reef.said("result") == []
    delivered_ul = reef.account()["delivered_ul"]["carbonate"]
    assert delivered_ul == round(2 * 0.497 * ran_ms, 3)


def _settle(reef: Reef) -> None:
    """Wait until a control file is in force: it is read five times between accounts."""
    for _ in range(2):
        before = reef.account()["at"]
        until(lambda: reef.account()["at"] != before, "the next account")  # noqa: B023  # ends within its turn


@pytest.mark.mosquitto
def test_a_reboot_in_mid_run_is_a_new_boot(reef: Reef) -> None:
    """Hazard H23: the flow ends, the will speaks, the node begins anew."""
    once = {"serial": 1, "node": "shelf", "for_s": 0.5, "mid_run_ms": 300}
    reef.fault(reboot=once)
    reef.start()
    before = reef.beat()["boot"]
    reef.send_run(1, ul=5_000, ms=10_000, cut_ms=12_000)
    until(lambda: reef.beat()["boot"] != before, "the new boot")
    until(lambda: reef.beat()["chan"]["a"]["state"] == "idle", "its self-test")
    states = [each["state"] for each in reef.said("state")]
    reef.end()
    assert "offline" in states
    assert reef.beat()["chan"]["a"]["n"] == 0
    assert reef.beat()["chan"]["a"]["budget_ul"] == 0
    # 300 ms at 497 uL/s, and what the loop took to wake up.
    assert 149.1 <= reef.account()["delivered_ul"]["carbonate"] < 300


@pytest.mark.mosquitto
def test_a_lost_link_comes_back_with_the_end_of_the_run(reef: Reef) -> None:
    """Hazard H06: with no link the run ends by itself; the result comes later."""
    once = {"serial": 1, "node": "shelf", "for_s": 1.5, "mid_run_ms": 100}
    reef.fault(lose_link=once)
    reef.start()
    reef.send_run(1)
    until(lambda: reef.state() == "offline", "the will")
    until(lambda: reef.state() == "online", "the return")
    until(lambda: reef.phases(1) == ["taken", "complete"], "the late result")


@pytest.mark.mosquitto
def test_a_swing_shows_in_the_readings_and_a_frozen_probe_hides_it(reef: Reef) -> None:
    """Pushed up by 5 dKH/s to 9.5: the probe follows; frozen, it does not."""
    reef.start()
    reading = f"{ROOT}/tank/reef/reading/alk"

    def value() -> float:
        return float(json.loads(reef.peer.payloads(reading)[-1])["value"])

    until(lambda: bool(reef.peer.payloads(reading)), "a reading")
    reef.fault(swing={"tank": "reef", "dkh_per_s": 5.0, "until_dkh": 9.5})
    until(lambda: value() > 9.3, "the swing")
    frozen = {"tank": "reef", "dkh_per_s": -5.0, "until_dkh": 7.0}
    reef.fault(swing=frozen, freeze_probe=True)
    until(
        lambda: reef.account()["tanks"]["reef"]["alkalinity_dkh"] <= 7.0,
        "the fall of the true water",
    )
    assert value() > 8.0


@pytest.mark.mosquitto
def test_a_wrong_control_file_is_one_line_and_changes_nothing(reef: Reef) -> None:
    """The reef goes on as it was and says what is wrong once."""
    reef.start()
    reef.control.write_text('{"swnig": {}}')
    _settle(reef)
    code, complaints = reef.end()
    assert code == 0
    assert complaints.count("swnig") == 1
    assert complaints.count("\n") == 1


@pytest.mark.mosquitto
def test_it_ends_by_interrupt_too(reef: Reef) -> None:
    """SIGINT is as clean as SIGTERM, and the node is shown as offline."""
    reef.start()
    assert reef.end(signal.SIGINT) == (0, "")
    until(lambda: reef.state() == "offline", "the farewell")


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["--reef", "none.json"], "none.json: No such file"),
        (["--password-file", "none.txt"], "none.txt: No such file"),
        (["--delivered", "none/account.json"], "none/account.json: No such file"),
    ],
)
def test_a_wrong_file_ends_with_one_line(
    arguments: list[str], expected: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one sentence on stderr, nothing opened."""
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert said.err.startswith(expected)
    assert (said.out, said.err.count("\n")) == ("", 1)


@pytest.mark.parametrize(
    "arguments",
    [
        ["--port", "0"],
        ["--port", "broker"],
        ["--beat-s", "0"],
        ["--beat-s", "nan"],
        ["--prefix", "slackwater/#"],
        ["--site", "Home"],
    ],
)
def test_a_wrong_argument_is_a_usage_error(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and the argument's name."""
    with pytest.raises(SystemExit) as ended:
        read_options(arguments)
    assert ended.value.code == 2
    assert arguments[0] in capsys.readouterr().err


def test_options_replace_what_the_file_says(tmp_path: Path) -> None:
    """Site, self-test and credentials from the command line."""
    word = tmp_path / "word"
    word.write_text("secret\n")
    arguments = ["--site", "lab", "--self-test-s", "2", "--user", "u"]
    options = read_options([*arguments, "--password-file", str(word)])
    assert options.root == "slackwater/1/lab"
    assert options.reef.nodes["shelf"].self_test_s == 2.0
    assert (options.broker.user, options.broker.password) == ("u", "secret")
    assert "secret" not in repr(options)
