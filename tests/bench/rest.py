"""The daemon at rest with eight pumps: resident memory and share of a core.

`python -m tests.bench.rest [SECONDS]` starts a broker and the daemon in shadow on the
sample with two tanks, and beside it a bare process that only imports the libraries
the daemon stands on; both are read from /proc over the same span.
"""

import os
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from slackwater.facts.events import LedgerMade, PlanApproved
from slackwater.facts.plan import Approval
from slackwater.ledger.store import LedgerFile
from slackwater.outside.approved import machine_text, plan_text
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings import read_machine, read_plan
from slackwater.service.memory import LIVE_NAME
from tests.outside.peers import LOOPBACK, Broker, free_port

TOP = Path(__file__).resolve().parents[2]
SAMPLE = TOP / "config" / "two-tanks"
BARE = (
    "import paho.mqtt.client, apscheduler.schedulers.background, pydantic, structlog,"
    "sqlite3, zoneinfo, threading; threading.Event().wait()"
)
# The tests' environment holds arrays for its reference libraries, and pint loads them
# when it sees them; a machine that only runs the daemon has none.
AS_INSTALLED = (
    "import runpy, sys; sys.modules['numpy'] = None;"
    "runpy.run_module('tests.service.launch', run_name='__main__', alter_sys=True)"
)
SETTLE_S = 8.0


def household(folder: Path, port: int) -> None:
    """A copy of the sample on our broker, a ledger, and an approved plan."""
    config, state = folder / "config", folder / "state"
    config.mkdir()
    state.mkdir()
    for name in ("slackwater.toml", "plan.toml"):
        text = (SAMPLE / name).read_text()
        lines = [
            f'host = "{LOOPBACK}"\nport = {port}' if line.startswith("host =") else line
            for line in text.splitlines()
            if not line.startswith(("port", "ca_file", "observe_", "actuate_"))
        ]
        (config / name).write_text("\n".join(lines))
    now = SystemClock().now()
    made = LedgerMade(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0,
        ledger_id="bench",
        boot_id=now.boot_id,
        answered=True,
        by="bench",
    )
    machine = read_machine(config)
    plan = read_plan(config, machine)
    approval = Approval(
        serial=1,
        digest="0" * 64,
        takes_over_at=now.utc,
        expires_at=now.utc + timedelta(days=180),
        by="bench",
        highest_daily_ul=1,
    )
    approved = PlanApproved(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0,
        approval=approval,
        machine=machine_text(machine),
        plan=plan_text(plan),
        files={},
    )
    with LedgerFile.create(state / LIVE_NAME, made) as ledger:
        ledger.append([approved])


def resident_mib(pid: int) -> float:
    """Resident memory of a process."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def cpu_s(pid: int) -> float:
    """Processor seconds a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    """Start, let it settle, read both processes over the span, end them."""
    span_s = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    with tempfile.TemporaryDirectory() as name:
        folder, port = Path(name), free_port()
        broker = Broker(folder / "mosquitto.conf", port, ("allow_anonymous true",))
        household(folder, port)
        broker.start()
        paths = os.pathsep.join((str(TOP / "daemon"), str(TOP)))
        environment = {**os.environ, "PYTHONPATH": paths}
        launch = [sys.executable, "-c", AS_INSTALLED]
        with (folder / "daemon.log").open("wb") as log:
            daemon = subprocess.Popen(
                [*launch, str(folder / "config"), str(folder / "state")],
                cwd=TOP,
                env=environment,
                stderr=log,
            )
        bare = subprocess.Popen([sys.executable, "-c", BARE])
        try:
            _measure(daemon.pid, bare.pid, span_s)
        finally:
            for process in (daemon, bare):
                process.terminate()
                process.wait()
            broker.stop()


def _measure(daemon: int, bare: int, span_s: float) -> None:
    time.sleep(SETTLE_S)
    before = cpu_s(daemon), cpu_s(bare)
    time.sleep(span_s)
    after = cpu_s(daemon), cpu_s(bare)
    shares = [100 * (b - a) / span_s for a, b in zip(before, after, strict=True)]
    sys.stdout.write(
        f"bare imports   {resident_mib(bare):6.1f} MiB  {shares[1]:.2f} % of a core\n"
        f"daemon         {resident_mib(daemon):6.1f} MiB  {shares[0]:.2f} % of a core\n"
        f"over           {span_s:.0f} s\n"
    )


if __name__ == "__main__":
    main()
