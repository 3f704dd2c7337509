"""`dose`, `prime`, `flush`: one run that a person asks of the daemon, here and now.

Floor 8. One subject: asking by hand. Laws here: the daemon gives it through the same
gate, caps and ledger as any dose, within half an hour or never; what flows counts as
given to the water unless a person says that the outlet hangs out of it.
"""

import click

from slackwater.cli.by_request import Granted, Wish, asked_for, filling
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError
from slackwater.ledger.codec import timestamp
from slackwater.water.show import show_volume

outlet_out = click.option(
    "--outlet-out",
    is_flag=True,
    help="The outlet hangs out of the water, over a cup: nothing reaches the tank.",
)
said_by = click.option(
    "--by", metavar="NAME", help="Who asks.  [default: the local user]"
)


@verb(
    "dose",
    epilog="This moves liquid, into the tank. It counts against every ceiling of the "
    "pump and of the water, and against most_by_hand of the pump, which is nothing "
    "unless slackwater.toml says so. What was poured in by hand, without a pump, is "
    "told with `slackwater added`. Example: slackwater dose carbonate '5 mL' "
    "--reason 'alkalinity fell over the weekend'",
)
@click.argument("pump")
@click.argument("volume")
@click.option("--reason", required=True, metavar="TEXT", help="Why, for the record.")
@click.option("--by", metavar="NAME", help="Who asks.  [default: the local user]")
def dose(shell: Shell, pump: str, volume: str, reason: str, by: str | None) -> Answer:
    """Ask for one dose by hand.

    The daemon gives it when the gate allows, within half an hour; it is judged like a
    correction. Nothing of the plan is left out for it. While it waits it can be taken
    back: `slackwater take-back`.
    """
    why = typed_text(reason, "--reason")
    if not why:
        raise InputError(_no_reason())
    wish = Wish(
        verb="dose",
        pump=pump,
        volume=volume,
        purpose="manual",
        why=why,
        by=typed_text(by or local_user(), "--by", WORD_AT_MOST),
        ceilings=("most_by_hand", "most_per_dose"),
    )
    return answer(asked_for(shell, wish))


@verb(
    "prime",
    epilog="This moves liquid, into the tank unless --outlet-out is given. Wear eye "
    "protection. For a new hose, a new bottle, or after air was drawn; calibrate "
    "after a new hose. Example: slackwater prime carbonate '3 mL' --outlet-out",
)
@click.argument("pump")
@click.argument("volume")
@outlet_out
@said_by
def prime(
    shell: Shell, pump: str, volume: str, *, outlet_out: bool, by: str | None
) -> Answer:
    """Fill the hose of a pump.

    It ends by itself and has a small ceiling of its own, most_per_priming. Unless the
    outlet is out of the water it counts as a dose by hand.
    """
    return _upkeep(shell, ("prime", pump, volume), by, outlet_out=outlet_out)


@verb(
    "flush",
    epilog="This moves liquid, into the tank unless --outlet-out is given: put the "
    "hose's inlet into clean water first, and the outlet over a bucket. Wear eye "
    "protection. Example: slackwater flush carbonate '20 mL' --outlet-out",
)
@click.argument("pump")
@click.argument("volume")
@outlet_out
@said_by
def flush(
    shell: Shell, pump: str, volume: str, *, outlet_out: bool, by: str | None
) -> Answer:
    """Rinse the hose of a pump.

    It ends by itself and has a small ceiling of its own, most_per_priming. Unless the
    outlet is out of the water it counts as a dose by hand, as if it were solution; the
    bottle is held to be as full as before, for its hose stood in clean water.
    """
    return _upkeep(shell, ("flush", pump, volume), by, outlet_out=outlet_out)


def _upkeep(
    shell: Shell, words: tuple[str, str, str], by: str | None, *, outlet_out: bool
) -> Answer:
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    return answer(asked_for(shell, filling(words, who, outlet_out=outlet_out)))


def answer(granted: Granted) -> Answer:
    """What a person reads of a request that stands."""
    asked, until = granted.asked, granted.until
    aside = f"Not meant after all? `slackwater take-back {asked.request}` while it "
    aside += f"waits, `slackwater hold --scope pump/{asked.pump}` once it runs.\n"
    if granted.holds:
        waits = f"It waits for the end of {', '.join(granted.holds)}"
        aside = f"{waits}: `slackwater status`.\n{aside}"
    counted = "into the water" if asked.purpose == "manual" else "out of the water"
    return Answer(
        fields={
            "request": asked.request,
            "pump": asked.pump,
            "volume_ul": asked.volume_ul,
            "in_water": asked.purpose == "manual",
            "until": timestamp(asked.until),
            "held_by": list(granted.holds),
        },
        text=f"Asked for {show_volume(asked.volume_ul)} of {asked.pump}, {counted}. "
        f"The daemon gives it when nothing speaks against it, until {until}, or "
        f"never.\n{aside}"
        f"What became of it: `slackwater why {asked.request}`.\n",
    )


def _no_reason() -> Finding:
    return Finding(
        what="no reason was given",
        where="--reason",
        expected="a reason in a few words",
        do="Nothing was asked for.",
    )
