"""A virtual node with its hoses, link and faults, under a virtual clock."""

import pytest

from demo.reef.link import LinkUp
from demo.reef.reef import SAMPLE
from demo.reef.reef_file import read_reef
from tests.demo.nodes import attempt, run_bytes, stop_bytes
from tests.demo.worlds import NODE, Scene, scene

FIRST_BOOT = f"{1:016x}"
SECOND_BOOT = f"{2:016x}"


def _run(here: Scene, **changes: object) -> None:
    """1 mL in 2 s on channel a, which the node takes."""
    fields: dict[str, object] = {
        "boot": FIRST_BOOT,
        "until_up": here.world.now_ms + 8_000,
    }
    here.send(run_bytes(**{**fields, **changes}))


def _channel(here: Scene) -> dict[str, object]:
    channels = here.node.said("beat")[-1]["chan"]
    assert isinstance(channels, dict)
    shown = channels["a"]
    assert isinstance(shown, dict)
    return shown


def test_the_hose_delivers_at_its_true_rate() -> None:
    """Hand-worked: 2 s at 497 uL/s is 994 uL, while the node says 1 000."""
    here = scene()
    _run(here)
    here.wait(10_000)
    assert here.delivered_ul() == 994.0
    assert here.node.said("result")[-1]["ul"] == 1_000


def test_the_truth_does_not_depend_on_the_steps() -> None:
    """One look after a stop at 700 ms or seventy looks: the same water."""
    coarse, fine = scene(), scene()
    for here, step_ms in ((coarse, 700), (fine, 10)):
        _run(here)
        for _ in range(700 // step_ms):
            here.step(step_ms)
        here.send(stop_bytes())
        here.wait(5_000)
    assert coarse.delivered_ul() == fine.delivered_ul() == 347.9


def test_a_late_look_lets_no_hose_run_on() -> None:
    """Woken 3.4 s late, the outputs still ended when a board would have ended them."""
    here = scene()
    _run(here)
    here.step(5_400)
    assert here.delivered_ul() == 994.0
    assert here.node.said("result")[-1]["ran_ms"] == 2_000


def test_a_late_look_finds_a_fault_where_it_struck() -> None:
    """A reboot in the middle of a run that has long passed: 500 ms at 497 uL/s."""
    here = scene()
    here.apply(reboot={"serial": 1, "node": "shelf", "for_s": 2.0, "mid_run_ms": 500})
    _run(here)
    here.step(5_400)
    assert here.delivered_ul() == 248.5


def test_results_beats_and_states_travel_as_the_contract_says() -> None:
    """Results at QoS 1, beats at QoS 0, state at QoS 1 and retained."""
    here = scene()
    here.step(0, LinkUp(link="shelf"))
    _run(here)
    travelled = {(topic, qos, retain) for topic, _, qos, retain in here.node.sent}
    assert travelled == {
        (f"{NODE}/state", 1, True),
        (f"{NODE}/beat", 0, False),
        (f"{NODE}/result", 1, False),
    }


def test_beats_come_in_their_period_and_on_each_change() -> None:
    """Every 5 s, and at once when a run is taken and when it ends."""
    here = scene()
    here.node.sent.clear()
    here.wait(7_000)
    _run(here)
    here.wait(7_000)
    ups = [int(str(beat["up"])) for beat in here.node.said("beat")]
    assert [up - ups[0] for up in ups] == [0, 2_000, 4_000, 9_000]


def test_dropped_results_leave_the_beat_to_tell() -> None:
    """Hazard H18: no result travels, number and last run are in the beat."""
    here = scene()
    here.apply(drop_results=True)
    _run(here)
    here.wait(3_000)
    assert here.node.said("result") == []
    shown = _channel(here)
    assert shown["n"] == 1
    assert shown["last"] == {
        "id": attempt(1),
        "ul": 1_000,
        "ran_ms": 2_000,
        "reason": "complete",
        "cal": "77aa01cf",
    }


def test_an_over_delivering_hose_is_not_in_the_report() -> None:
    """Factor 1.5 brings 1 491 uL; a node without a meter cannot know."""
    here = scene()
    here.apply(over_deliver={"carbonate": 1.5})
    _run(here)
    here.wait(3_000)
    assert here.delivered_ul() == 1_491.0
    assert here.node.said("result")[-1]["ul"] == 1_000


def test_a_metered_hose_reports_its_over_delivery() -> None:
    """Hazard H20: with a meter the 1 491 uL are reported."""
    reef = read_reef(SAMPLE).model_dump()
    reef["nodes"]["shelf"]["channels"]["a"]["metered"] = True
    here = scene(type(read_reef(SAMPLE)).model_validate(reef))
    here.apply(over_deliver={"carbonate": 1.5})
    _run(here)
    here.wait(3_000)
    assert here.node.said("result")[-1]["ul"] == 1_491


def test_a_reboot_in_mid_run_ends_the_flow_and_forgets() -> None:
    """Hazard H23: output off at power-up, new boot, number 0, no result, no resume."""
    here = scene()
    here.apply(reboot={"serial": 1, "node": "shelf", "for_s": 2.0, "mid_run_ms": 500})
    _run(here)
    here.wait(30_000)
    assert here.node.lost == [(2.0, True)]
    assert here.delivered_ul() == 248.5
    assert [said["phase"] for said in here.node.said("result")] == ["taken"]
    last = here.node.said("beat")[-1]
    assert last["boot"] == SECOND_BOOT
    assert _channel(here) == {
        "n": 0,
        "state": "idle",
        "odo_ul": 0,
        "odo_ms": 0,
        "budget_ul": 0,
    }


def test_an_absent_node_hears_nothing() -> None:
    """While it is down neither command, hold nor a link's news reach it."""
    here = scene()
    here.apply(reboot={"serial": 1, "node": "shelf", "for_s": 2.0})
    here.node.sent.clear()
    _run(here, boot=SECOND_BOOT)
    here.send(b"{}", "hold")
    here.step(0, LinkUp(link="shelf"))
    assert here.node.sent == []
    here.wait(3_000)
    assert here.node.said("beat")[-1]["hold"] is False


def test_a_reboot_passes_through_its_self_test() -> None:
    """For 10 s after power-up the channels are starting."""
    here = scene()
    here.apply(reboot={"serial": 1, "node": "shelf", "for_s": 1.0})
    here.node.sent.clear()
    here.wait(25_000)
    beats = here.node.said("beat")
    seen = [(beat["up"], beat["chan"]["a"]["state"]) for beat in beats]  # type: ignore[index]  # parsed JSON
    assert seen == [
        (0, "starting"),
        (5_000, "starting"),
        (10_000, "idle"),
        (15_000, "idle"),
        (20_000, "idle"),
    ]


def test_a_lost_link_changes_nothing_at_the_pump() -> None:
    """Hazard H06: the run ends at its time; only the link was broken."""
    here = scene()
    here.apply(
        lose_link={"serial": 1, "node": "shelf", "for_s": 8.0, "mid_run_ms": 500}
    )
    _run(here)
    here.wait(3_000)
    assert here.node.lost == [(8.0, False)]
    assert here.delivered_ul() == 994.0


@pytest.mark.parametrize("step_ms", [1, 100, 6_000])
def test_a_hung_node_is_stopped_by_its_hardware(step_ms: int) -> None:
    """Hazard H21: 2.5 s at 497 uL/s, however seldom anybody looks; told as cut."""
    here = scene()
    _run(here)
    here.apply(hang={"serial": 1, "node": "shelf", "for_s": 4.0})
    for _ in range(6_000 // step_ms):
        here.step(step_ms)
    assert here.delivered_ul() == 1_242.5
    ended = here.node.said("result")[-1]
    assert (ended["reason"], ended["ran_ms"]) == ("cut", 2_500)


def test_a_hold_reaches_the_node() -> None:
    """A message on the hold topic is shown in the next beat."""
    here = scene()
    here.send(b'{"v":1,"by":"test"}', "hold")
    assert here.node.said("beat")[-1]["hold"] is True


def test_other_topics_are_not_for_the_node() -> None:
    """Whatever else arrives changes nothing."""
    here = scene()
    here.node.sent.clear()
    here.send(run_bytes(boot=FIRST_BOOT), "result")
    assert here.node.sent == []
