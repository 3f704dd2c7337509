"""The daemon at rest with eight pumps: resident memory and share of a core.

`python -m tests.bench.rest [SECONDS]` starts a broker and `slackwater run` in shadow on
the sample with two tanks, and beside it a bare process that only imports what the
daemon imports of libraries, as they come; both are read from /proc over the same span.

As they come: pydantic loads most of itself when a model is made, so a model is made;
structlog loads rich where it finds it, which is installed, and the daemon keeps it from
that. So a second bare process is shown, without rich: what the daemon has beyond that
one is its own.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
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
# The tests' environment holds arrays for its reference libraries, and pint loads them
# when it sees them; a machine that only runs the daemon has none.
AS_INSTALLED = "import sys; sys.modules['numpy'] = None\n"
PROGRAM = AS_INSTALLED + "from slackwater.cli.main import main; main()"
BARE = """
import apscheduler.executors.pool, apscheduler.jobstores.base
import apscheduler.schedulers.background
import apscheduler.triggers.cron, apscheduler.triggers.date
import apscheduler.triggers.interval
import click, ctypes, difflib, paho.mqtt.client, pydantic, resource, rfc8785, sqlite3
import ssl, statistics, structlog, threading, tomllib, zoneinfo
class Model(pydantic.BaseModel):
    count: int = pydantic.Field(ge=0)
class Root(pydantic.RootModel[Model]):
    pass
pydantic.TypeAdapter(Root)
threading.Event().wait()
"""
WITHOUT_RICH = "sys.modules['rich'] = None\n"
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
        places = ("--config", folder / "config", "--state", folder / "state")
        codes = {
            "bare imports": AS_INSTALLED + BARE,
            "without rich": AS_INSTALLED + WITHOUT_RICH + BARE,
            "daemon": PROGRAM,
        }
        with (folder / "daemon.log").open("wb") as log:
            processes = {
                name: subprocess.Popen(
                    [sys.executable, "-c", code, "run", *map(str, places)],
                    cwd=TOP,
                    env={**os.environ, "PYTHONPATH": str(TOP / "daemon")},
                    stderr=log,
                )
                for name, code in codes.items()
            }
        try:
            _measure({name: one.pid for name, one in processes.items()}, span_s)
        finally:
            for process in processes.values():
                process.terminate()
                process.wait()
            broker.stop()


def _measure(processes: Mapping[str, int], span_s: float) -> None:
    time.sleep(SETTLE_S)
    before = {name: cpu_s(pid) for name, pid in processes.items()}
    time.sleep(span_s)
    sizes = {name: resident_mib(pid) for name, pid in processes.items()}
    for name, pid in processes.items():
        share = 100 * (cpu_s(pid) - before[name]) / span_s
        sys.stdout.write(
            f"{name:14s} {sizes[name]:6.1f} MiB  {share:.2f} % of a core\n"
        )
    more = sizes["daemon"] - sizes["bare imports"]
    own = sizes["daemon"] - sizes["without rich"]
    sys.stdout.write(
        f"daemon more    {more:6.1f} MiB than bare imports = {more * 1.048576:.1f} MB; "
        f"{own:.1f} MiB than without rich\n"
        f"over           {span_s:.0f} s\n"
    )


if __name__ == "__main__":
    main()
