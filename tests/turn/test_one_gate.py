"""Law 4: one gate answers live and in shadow alike, and no stage reaches it."""

from dataclasses import replace
from datetime import timedelta
from typing import Literal

from slackwater.facts.events import DoseHeld, DoseIntended, DoseMissed
from tests.gate.scene import PROBE, machine
from tests.turn.test_step import START, Bench

Decision = tuple[str, str, int, tuple[str, ...]]


def decided(stage: Literal["shadow", "live"]) -> list[Decision]:
    """Hours with a silent probe, and a cap that has no room for the last doses."""
    sound = machine()
    pump = replace(sound.pumps["carbonate"], per_day_ul=6_000)
    pumps = {**sound.pumps, "carbonate": pump}
    bench = Bench(replace(sound, pumps=pumps, probes={"kh": PROBE}))
    bench.state.stage = stage
    bench.run_until(START + timedelta(hours=6))
    found: list[Decision] = []
    for event in bench.events:
        if isinstance(event, DoseHeld | DoseIntended | DoseMissed):
            codes = tuple(reason.code for reason in event.reasons)
            name = event.dose_id if isinstance(event, DoseHeld) else event.dose.id
            ul = event.command.ul if isinstance(event, DoseIntended) else 0
            found.append((event.kind, name, ul, codes))
    return found


def test_law_4_shadow_and_live_decide_each_dose_alike() -> None:
    """Same doses, volumes and reasons: shortened here, refused there."""
    live = decided("live")

    assert live == decided("shadow")
    shortened = [ul for kind, _, ul, codes in live if kind == "dose_intended" and codes]
    refused = [name for kind, name, _, _ in live if kind == "dose_missed"]
    assert shortened
    assert refused
