"""What the show runs on: a broker, the reef, the daemon, each a process of its own.

Outside every floor; never imports Slackwater. One subject: starting and ending
processes. Laws here: only what was started here is ended here, by its own id; a wait
is a condition with a deadline, never a fixed pause.
"""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

LOOPBACK = "127.0.0.1"
TOP = Path(__file__).resolve().parents[1]
SBIN = os.pathsep.join(("/usr/sbin", "/usr/local/sbin"))
# What a command prints is shown two columns further in.
PAGE_COLUMNS = 78
WAIT_S = 30.0
END_S = 35.0


class ShowError(Exception):
    """The show cannot go on; the message says what was waited for."""


def until(met: Callable[[], object], what: str, wait_s: float = WAIT_S) -> None:
    """Wait for a condition with a deadline.

    Raises: ShowError when it was not met in time.
    """
    end = time.monotonic() + wait_s
    while not met():
        if time.monotonic() > end:
            message = f"waited {wait_s:.0f} s for {what}, in vain"
            raise ShowError(message)
        time.sleep(0.05)


def free_port() -> int:
    """A port of the loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


@dataclass(slots=True)
class House:
    """One invented household in one folder."""

    folder: Path
    port: int
    started: "list[subprocess.Popen[bytes]]" = field(default_factory=list)

    @property
    def config(self) -> Path:
        """The configuration directory."""
        return self.folder / "config"

    @property
    def state(self) -> Path:
        """The state directory."""
        return self.folder / "state"

    def start(
        self, name: str, command: Sequence[str], place: Path = TOP
    ) -> "subprocess.Popen[bytes]":
        """Start a process in a place; what it prints goes to a file of its name."""
        with (self.folder / f"{name}.log").open("ab") as log:
            process = subprocess.Popen(command, cwd=place, stdout=log, stderr=log)
        self.started.append(process)
        return process

    def start_broker(self, *, embedded: bool) -> str:
        """A system Mosquitto where there is one, else the embedded broker; its name."""
        found = shutil.which("mosquitto") or shutil.which("mosquitto", path=SBIN)
        found = None if embedded else found
        name = "mosquitto" if found else "amqtt"
        command = _mosquitto(self, found) if found else _embedded(self)
        # A broker that keeps something keeps it there and not among the sources.
        self.start(name, command, self.folder)
        until(self._broker_answers, f"the broker ({name})")
        return name

    def _broker_answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex((LOOPBACK, self.port)) == 0

    def start_reef(self) -> None:
        """The virtual pump node, the probe and the true water."""
        options = {
            "--host": LOOPBACK,
            "--port": str(self.port),
            "--delivered": str(self.folder / "delivered.json"),
            "--control": str(self.folder / "control.json"),
            "--beat-s": "1",
            "--reading-s": "2",
            "--self-test-s": "1",
        }
        words = [word for pair in options.items() for word in pair]
        self.start("reef", [sys.executable, "-m", "demo.reef", *words])
        until((self.folder / "delivered.json").exists, "the reef's own account")

    def start_daemon(self) -> "subprocess.Popen[bytes]":
        """The daemon itself."""
        return self.start("daemon", [*self.slackwater(), "run"])

    def slackwater(self) -> list[str]:
        """The command line with this household's places."""
        places = ["--config", str(self.config), "--state", str(self.state)]
        return [sys.executable, "-m", "slackwater", *places]

    def call(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """One command of the command line; its output as text."""
        return subprocess.run(
            [*self.slackwater(), *words],
            cwd=TOP,
            env={**os.environ, "COLUMNS": str(PAGE_COLUMNS)},
            capture_output=True,
            text=True,
            check=False,
        )

    def control(self, faults: dict[str, object]) -> None:
        """Switch faults of the reef on, in one step."""
        path = self.folder / "control.json"
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(faults))
        fresh.replace(path)

    def truth(self, after: datetime | None = None) -> dict[str, float]:
        """What each hose really gave, µL, by the reef's own file.

        `after` waits until the file tells of a moment behind that one.
        """
        if after is not None:
            until(lambda: self._told_at() > after, "the reef's newest account")
        account = json.loads((self.folder / "delivered.json").read_text())
        return {str(k): float(v) for k, v in account["delivered_ul"].items()}

    def _told_at(self) -> datetime:
        account = json.loads((self.folder / "delivered.json").read_text())
        return datetime.fromisoformat(str(account["at"]))

    def alkalinity_dkh(self) -> float:
        """The true alkalinity, by the reef's own file."""
        account = json.loads((self.folder / "delivered.json").read_text())
        return float(account["tanks"]["reef"]["alkalinity_dkh"])

    def close(self) -> None:
        """End what was started, the newest first."""
        for process in reversed(self.started):
            if process.poll() is not None:
                continue
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(timeout=END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _mosquitto(house: House, binary: str) -> list[str]:
    text = (
        f"listener {house.port} {LOOPBACK}\nallow_anonymous true\n"
        "set_tcp_nodelay true\npersistence false\n"
        f"persistence_location {house.folder}/\n"
    )
    path = house.folder / "mosquitto.conf"
    path.write_text(text)
    return [binary, "-c", str(path)]


def _embedded(house: House) -> list[str]:
    document = {
        "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{house.port}"}},
        "plugins": {
            "amqtt.plugins.authentication.AnonymousAuthPlugin": {
                "allow_anonymous": True
            }
        },
    }
    # YAML is a superset of JSON: the broker reads this as it stands.
    path = house.folder / "amqtt.yaml"
    path.write_text(json.dumps(document))
    start = "from amqtt.scripts.broker_script import main; main()"
    return [sys.executable, "-c", start, "-c", str(path)]
