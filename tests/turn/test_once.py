"""A dose exists once: whatever became of it, nothing brings it back."""

from dataclasses import replace
from datetime import timedelta

from slackwater.facts.messages import LinkChanged
from slackwater.facts.sight import see
from slackwater.turn.setup import make_setup
from tests.gate.scene import APPROVAL, machine, plan
from tests.turn.test_step import START, Bench, roomy

BOOT = "0001" * 4


def test_h09_an_identity_used_before_the_swap_stays_used() -> None:
    """The same lines approved again, and the daemon started anew: nothing is new."""
    bench = Bench(machine())
    bench.run_until(START + timedelta(minutes=65))
    again = replace(APPROVAL, serial=2, takes_over_at=bench.utc)
    bench.setup = make_setup(
        roomy(machine()), {1: (APPROVAL, plan()), 2: (again, plan())}
    )
    # A start looks back at everything that may still be due.
    bench.sight.scanned_until = None
    bench.run_until(START + timedelta(minutes=119))
    doses = [intent.dose.id.partition("@")[0] for intent in bench.intents()]
    assert ["reef/carbonate", "reef/calcium"] * 2 == doses


def test_h23_what_was_sealed_is_never_intended_again() -> None:
    """The node reboots in the run: charged in full, and its time goes by."""
    bench = Bench(machine())
    bench.run_until(START + timedelta(minutes=60))
    bench.answers = False
    bench.hear_beat()
    while not bench.state.open:
        bench.step()
    (known,) = bench.state.open.values()
    beat = bench.sight.nodes["shelf"].beat
    bench.news.append(replace(beat, boot=BOOT, up=90_000))
    bench.step()
    assert "dose_sealed" == bench.events[-1].kind
    bench.sight.scanned_until = None
    bench.run_until(START + timedelta(minutes=90))
    doses = [intent.dose.id for intent in bench.intents()]
    assert 1 == doses.count(known.intent.dose.id)


def test_a_lost_link_brings_no_waiting_dose_back() -> None:
    """Down until the latest start has passed: missed, and not given when it is up."""
    bench = Bench(machine())
    see(bench.sight, LinkChanged(link="actuate", up=False))
    bench.run_until(START + timedelta(minutes=20))
    see(bench.sight, LinkChanged(link="actuate", up=True))
    bench.run_until(START + timedelta(minutes=55))
    doses = [intent.dose.id for intent in bench.intents()]
    assert "reef/carbonate@2026-05-04#01" not in doses
