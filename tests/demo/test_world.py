"""The invented reef as a whole: readings, swings, serials and the account."""

from datetime import UTC, datetime

from demo.reef.link import LinkUp
from tests.demo.nodes import run_bytes
from tests.demo.worlds import Scene, scene

BOOT = f"{1:016x}"


def _values(here: Scene) -> list[float]:
    return [float(str(reading["value"])) for reading in here.probe.said("alk")]


def test_the_probe_speaks_in_its_period_with_unit_and_time() -> None:
    """The first reading at once, the next after 10 s, as the contract's example."""
    here = scene()
    here.wait(10_000)
    first, second = here.probe.sent
    assert first[0] == "slackwater/1/home/tank/reef/reading/alk"
    assert first[1].keys() == {"parameter", "value", "unit", "at"}
    assert (first[1]["parameter"], first[1]["unit"]) == ("alkalinity", "dKH")
    assert first[1]["at"] == "2026-05-03T14:00:00.000Z"
    assert second[1]["at"] == "2026-05-03T14:00:10.000Z"
    assert (first[2], first[3]) == (0, False)


def test_readings_scatter_around_the_truth() -> None:
    """Mean within three standard errors of 8.0 dKH, standard deviation near 0.03."""
    here = scene()
    here.wait(2_000_000)
    values = _values(here)
    mean = sum(values) / len(values)
    deviation = (sum((value - mean) ** 2 for value in values) / len(values)) ** 0.5
    true_dkh = here.world.water.tanks["reef"].alkalinity_dkh
    assert len(values) == 201
    assert true_dkh - 0.01 < mean < 8.01
    assert 0.02 < deviation < 0.04


def test_equal_seeds_give_equal_readings() -> None:
    """Two runs of the same world are the same, byte for byte."""
    one, other = scene(), scene()
    one.wait(300_000)
    other.wait(300_000)
    assert one.probe.sent == other.probe.sent


def test_a_frozen_probe_repeats_with_a_fresh_time() -> None:
    """Hazard H49: the value stays, the time goes on; released it scatters again."""
    here = scene()
    here.apply(freeze_probe=True)
    here.wait(100_000)
    assert len(set(_values(here))) == 1
    assert len({reading["at"] for reading in here.probe.said("alk")}) == 11
    here.apply()
    here.wait(100_000)
    assert len(set(_values(here))) > 3


def test_a_swing_pushes_the_water_until_its_value() -> None:
    """0.05 dKH/s lifts 8.0 to 9.5 in 30 s and then stays; released it only falls."""
    here = scene()
    here.apply(swing={"tank": "reef", "dkh_per_s": 0.05, "until_dkh": 9.5})
    tank = here.world.water.tanks["reef"]
    here.wait(16_000)
    assert 8.799 < tank.alkalinity_dkh < 8.801
    here.wait(60_000)
    assert 9.499 < tank.alkalinity_dkh <= 9.5
    here.apply()
    here.wait(3_600_000)
    assert 9.4 < tank.alkalinity_dkh < 9.46


def test_a_fault_of_one_serial_happens_once() -> None:
    """The control file may be written again; only a higher serial strikes again."""
    here = scene()
    for serial in (1, 1, 2, 1, 2):
        here.apply(lose_link={"serial": serial, "node": "shelf", "for_s": 8.0})
    assert here.node.lost == [(8.0, False)] * 2


def test_the_account_is_the_water_not_the_report() -> None:
    """Delivered volumes and the true water, marked as invented."""
    here = scene()
    here.send(run_bytes(boot=BOOT, until_up=here.world.now_ms))
    here.wait(3_000)
    stamp = here.probe.sent[0][1]["at"]
    assert stamp == "2026-05-03T14:00:00.000Z"
    account = here.world.account(datetime(2026, 5, 3, 14, tzinfo=UTC))
    assert account["delivered_ul"] == {"carbonate": 994.0, "calcium": 0.0}
    # 8.0 + 0.994 mL * 1.887 meq/mL / 200 L * 2.80385, less 3 s of uptake.
    assert account["tanks"] == {
        "reef": {
            "alkalinity_dkh": 8.026261,
            "calcium_mg_per_l": 414.9998,
            "salinity": 35.0,
        }
    }
    assert "invented" in str(account["invented"])


def test_news_of_a_probe_s_link_is_for_nobody() -> None:
    """A probe only speaks."""
    here = scene()
    here.node.sent.clear()
    here.step(0, LinkUp(link="probe alk"))
    assert here.node.sent == []
