"""The figures of a daemon: what they say, and that they cost no decision."""

import json
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from slackwater.errors import InputError
from slackwater.facts.events import DoseMissed, DoseSealed
from slackwater.facts.reasons import Code, because
from slackwater.outside.clock import SystemClock
from slackwater.outside.metrics import listener_on
from slackwater.outside.settings import read_metrics
from slackwater.service.loop import write
from slackwater.service.memory import Memory
from slackwater.service.metering import PREFIX, TABLE, families, meter
from slackwater.service.tally import BOUNDS_S, Tally
from slackwater.service.wiring import Places, Rig, build
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.ledger.years import (
    FIRST_DAY,
    attempt_of,
    begin_of,
    end_of,
    intent,
    stamped,
)
from tests.outside.settings.test_broker import written
from tests.outside.test_metrics import LINE, ask
from tests.service.test_alarms import rig_of

TOP = Path(__file__).resolve().parents[2]
DASHBOARD = TOP / "config" / "metrics" / "dashboard.json"
NAME = re.compile(rf"{PREFIX}[a-z0-9_]+")
AT = begin_of(FIRST_DAY)
ENDS = ("_bucket", "_sum", "_count")


@contextmanager
def running(folder: Path) -> Iterator[Rig]:
    """A rig on a ledger with an approved plan and one test."""
    stage: Stage = stage_of(folder)
    assert 0 == stage.approve("--now").code
    assert 0 == stage.run("record", "alkalinity=8.0 dKH", "--by", "mara").code
    memory = Memory(stage.state, "live")
    memory.open()
    rig = rig_of(stage, memory)
    try:
        yield rig
    finally:
        if rig.meter is not None:
            rig.meter.close()
        memory.close()


def samples(rig: Rig, name: str) -> dict[tuple[str, ...], float]:
    """Figures of one family by the values of their labels."""
    (family,) = (one for one in families(rig) if one.name == f"{PREFIX}{name}")
    return {
        (*one.labels.values(), *((one.suffix,) if one.suffix else ())): one.value
        for one in family.samples
    }


def test_doses_are_counted_by_what_became_of_them() -> None:
    """And lateness by its bounds, from due to intent."""
    tally = Tally()
    at = AT
    late = [0.0, 0.1, 0.2, 3.0, 10_000.0]
    for number, late_s in enumerate(late):
        moment = at + timedelta(minutes=number)
        made = intent("carbonate", moment)
        tally.take([replace(made, at=moment + timedelta(seconds=late_s))])
        tally.take([end_of("carbonate", moment)])
    missed = intent("carbonate", at).dose
    reasons = (because(Code.SKIPPED),)
    tally.take(
        [
            DoseMissed(**stamped(at), dose=missed, reasons=reasons),
            DoseSealed(**stamped(at), attempt=attempt_of("x", at), reasons=reasons),
        ]
    )
    line = ("reef", "carbonate")
    assert {
        (*line, "granted"): 5,
        (*line, "full"): 5,
        (*line, "missed"): 1,
        ("", "", "sealed"): 1,
    } == dict(tally.doses)
    assert pytest.approx(sum(late)) == tally.late_s
    by_bound = dict(zip((*BOUNDS_S, None), tally.late, strict=True))
    assert (2, 1, 1, 1) == tuple(by_bound[one] for one in (0.1, 0.5, 5.0, None))


def test_figures_are_those_the_gate_reckons_with(tmp_path: Path) -> None:
    """Charge and cap in microlitres, the test in meq/L (8 dKH by 10 mg/L CaO each)."""
    with running(tmp_path) as rig:
        now = rig.clock.now().utc
        clocks = {"at": now, "boot_s": rig.clock.now().boot_s, "proven_ms": 10**6}
        made = replace(intent("carbonate", now), **clocks)  # type: ignore[arg-type]  # clocks
        assert write(rig, [made])
        cap = rig.setup.machine.pumps["carbonate"].per_day_ul
        assert (
            made.command.ul
            == samples(rig, "pump_charge_microlitres")["carbonate", "24h"]
        )
        assert cap == samples(rig, "pump_cap_microlitres")[("carbonate",)]
        level = samples(rig, "level")["reef", "alkalinity", "hand"]
        assert pytest.approx(8.0 * 20 / 56.077, rel=1e-4) == level
        assert 1 == samples(rig, "open_doses")[()]
        assert 1 == samples(rig, "doses_total")["reef", "carbonate", "granted"]
        assert 1 == samples(rig, "dose_lateness_seconds")[("_count",)]
        assert rig.memory.ledger.head.seq == samples(rig, "ledger_entries")[()]


@pytest.mark.usefixtures("monitoring")
def test_the_figures_are_served_and_each_line_has_the_form(tmp_path: Path) -> None:
    """Reckoned by the chore, whole, and without a listener not at all."""
    with running(tmp_path) as rig:
        meter(rig)
        assert None is rig.meter
        rig.meter = listener_on(0)
        meter(rig)
        assert rig.meter.is_open
        lines = ask(rig.meter)[1].decode().splitlines()
        figures = [line for line in lines if not line.startswith("#")]
        assert figures
        assert all(LINE.fullmatch(line) for line in figures)
        made = {one.name for one in families(rig) if one.samples}
        kinds = [line.split()[2] for line in lines if line.startswith("# TYPE")]
        assert made == set(kinds)


@pytest.mark.usefixtures("monitoring")
def test_what_fails_costs_figures_and_never_a_decision(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A port that is taken, or a figure that cannot be made, is logged: on it goes."""
    holder = listener_on(0)
    holder.start()
    try:
        with running(tmp_path) as rig:
            rig.meter = listener_on(holder.port)
            with capture_logs() as told:
                meter(rig)
            assert ["metrics_not_served"] == [one["event"] for one in told]
            assert not rig.meter.is_open
            assert () == rig.meter.families
            rig.meter = listener_on(0)
            monkeypatch.setattr(rig.sight, "nodes", {"shelf": None})
            with capture_logs() as told:
                meter(rig)
            assert ["metrics_not_served"] == [one["event"] for one in told]
    finally:
        holder.close()


def test_without_the_package_nothing_is_served_and_a_daemon_starts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file asks for figures; that they cannot be had is logged, by its name."""
    monkeypatch.setitem(sys.modules, "prometheus_client", None)
    monkeypatch.delitem(
        sys.modules, "slackwater.outside.metrics.listener", raising=False
    )
    stage = stage_of(tmp_path, changed(tmp_path / "config", SMALLEST))
    with (stage.config / "slackwater.toml").open("a", encoding="utf-8") as file:
        file.write("\n[metrics]\n")
    assert 0 == stage.approve("--now").code
    memory = Memory(stage.state, "shadow")
    memory.open()
    with capture_logs() as told:
        rig = build(
            Places(config=stage.config, state=stage.state),
            SystemClock(),
            memory,
            "shadow",
        )
    rig.close()
    assert None is rig.meter
    (line,) = [one for one in told if one["event"] == "metrics_not_served"]
    assert "no package prometheus_client" == line["why"]


def test_the_sample_page_shows_only_what_there_is() -> None:
    """Every name in it is one of the table, and every subject has its figure."""
    page = json.loads(DASHBOARD.read_text("utf-8"))
    shown = {
        name
        for panel in page["panels"]
        for target in panel["targets"]
        for name in NAME.findall(target["expr"])
    }
    plain = {name for full in shown for name in (_plain(full),)}
    assert plain <= {f"{PREFIX}{row[0]}" for row in TABLE}
    assert {
        *("doses_total", "dose_lateness_seconds", "holds", "alarms", "level"),
        *("pump_charge_microlitres", "pump_cap_microlitres", "queue_depth"),
        *("effect_cap_used_ratio", "reservoir_left_microlitres"),
        *("node_beat_age_seconds", "messages_dropped_total"),
    } == {name.removeprefix(PREFIX) for name in plain}
    places = [tuple(panel["gridPos"].values()) for panel in page["panels"]]
    assert len(places) == len(set(places))


def _plain(name: str) -> str:
    return next((name.removesuffix(end) for end in ENDS if name.endswith(end)), name)


def test_the_guide_lists_every_metric() -> None:
    """With its type and meaning, in the order of the code."""
    text = (TOP / "DEVELOPERS.md").read_text("utf-8")
    part = text[text.index("## What is measured") :].split("\n## ")[0]
    rows = [line for line in part.splitlines() if line.startswith("| `")]
    assert [f"| `{PREFIX}{n}` | {kind} | {m} |" for n, kind, m, _ in TABLE] == rows


@pytest.mark.parametrize(
    ("text", "port"),
    [("", None), ("[metrics]\n", 9464), ("[metrics]\nloopback_port = 1024\n", 1024)],
)
def test_without_the_table_nothing_listens(
    tmp_path: Path, text: str, port: int | None
) -> None:
    """And with it on the port that is named, or the usual one."""
    assert port == read_metrics(written(tmp_path, text))


@pytest.mark.parametrize("text", ["80", "65536", '"9464"', "1.5", "9464\nhost = 1"])
def test_a_wrong_table_is_one_error(tmp_path: Path, text: str) -> None:
    """No privileged port, and no address: there is but one."""
    with pytest.raises(InputError, match="metrics"):
        read_metrics(written(tmp_path, f"[metrics]\nloopback_port = {text}\n"))
