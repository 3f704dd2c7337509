"""Which adapters stand behind the ports: the only place that knows them all.

Floor 7. One subject: building one mode's machine. Laws here: the shadow rig holds no
object that can publish a command, and no credential for one is read for it; nothing
here decides anything.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.alarms.judging import Watch
from slackwater.assessment.records import Assessment
from slackwater.audit.history import Standing
from slackwater.errors import Finding, InputError, WireError
from slackwater.facts.messages import Beat, LinkChanged, Message
from slackwater.facts.now import Now
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.sight import Sight, recall, remember
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.gate.moment import Rules
from slackwater.outside.alarm import SystemAlarm
from slackwater.outside.approved import machine_from, plan_from
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.observe import Observe
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.metrics import Listener, listener_on
from slackwater.outside.notify import Nobody, Post
from slackwater.outside.settings import read_machine
from slackwater.outside.shadow_link import ShadowLink
from slackwater.outside.wire import HomeSettings, Root, view_of
from slackwater.planning.lowering import lower_caps, lowered
from slackwater.ports import Clock, Notifier, PumpLink
from slackwater.service import logs
from slackwater.service.beside import read_beside
from slackwater.service.memory import Memory, Mode
from slackwater.service.relaying import RelayLink, Relays, heads_of, relay_topics
from slackwater.service.tally import Tally
from slackwater.turn.setup import Setup, make_setup

# Where nobody says when: early in the day in Europe. Common practice, no source.
SUMMARY_AT_UTC = (6, 0)

_log: FilteringBoundLogger = structlog.get_logger()


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where things are; `credentials` is the service manager's folder, if any."""

    config: Path
    state: Path
    credentials: Path | None = None


@dataclass(slots=True, kw_only=True)
class Lookout:
    """What watching for alarms keeps: when it last looked, and what it saw and showed.

    `at_s` boot-time seconds, None to look at once; `shown` maps the name of an alarm to
    what stands of it on the wire, `sent` to the proven time of what people were sent.
    """

    watch: Watch = field(default_factory=Watch)
    at_s: float | None = None
    holds: tuple[str, ...] = ()
    shown: dict[str, tuple[object, ...]] = field(default_factory=dict)
    sent: dict[str, int] | None = None


@dataclass(slots=True, kw_only=True)
class Rig:
    """Everything one mode runs with.

    `stopped_s` is when each pump head was last told to stop, boot-time seconds;
    `differ` names files that are not the approved ones; `consents` are the approvals by
    serial as the audit reads them; `kept_until` is the newest reading of each
    probe that was kept with a decision; `verifying` is what is left of the ledger to be
    read, None when all of it was; `announced` is what home automation was told, by
    topic, `assessments` the newest of each tank; `meter` hands out figures, where
    somebody may ask; `cut_since` is when one of the links went down.
    """

    mode: Mode
    places: Places
    clock: Clock
    memory: Memory
    mailbox: BoundedMailbox
    chores: SimpleQueue[str]
    observe: Observe
    link: PumpLink
    shadow: ShadowLink | None
    alarm: SystemAlarm
    setup: Setup
    sight: Sight
    relays: Relays | None = None
    files: Mapping[str, str] = field(default_factory=dict)
    stopped_s: dict[str, float] = field(default_factory=dict)
    closing: bool = False
    differ: tuple[str, ...] = ()
    consents: dict[int, Standing] = field(default_factory=dict)
    kept_until: dict[str, datetime] = field(default_factory=dict)
    lookout: Lookout = field(default_factory=Lookout)
    post: Notifier = field(default_factory=Nobody)
    tally: Tally = field(default_factory=Tally)
    meter: Listener | None = None
    summary_at_utc: tuple[int, int] = SUMMARY_AT_UTC
    verifying: Iterator[list[Finding]] | None = None
    root: Root = field(default_factory=lambda: Root(site="home"))
    home: HomeSettings | None = None
    announced: dict[str, bytes] = field(default_factory=dict)
    cut_since: datetime | None = None
    assessments: dict[str, Assessment] = field(default_factory=dict)

    @property
    def fits(self) -> bool:
        """Whether it may go on: its mode is the stage, and nothing asked for another.

        Wherever the news was read: a daemon that starts reads some before its first
        pass, and would else go on for ever without a dose.
        """
        return not self.closing and self.mode == self.memory.state.stage

    def begin_nothing_new(self) -> None:
        """From here on outcomes are taken in and no dose or shot is begun."""
        self.closing = True
        nothing = Rules(pumps={}, lines={})
        self.setup = Setup(machine=self.setup.machine, bare=nothing)

    def look_at_links(self, utc: datetime, *, told: bool) -> None:
        """Keep since when one is down; whoever asks is not to be told the old state.

        `told` is whether one of them said something.
        """
        cut = not (self.sight.observe_up and self.sight.actuate_up)
        if told or cut != (self.cut_since is not None):
            self.chores.put("glimpse")
            self.chores.put("show")
        self.cut_since = (self.cut_since or utc) if cut else None

    def connect_again(self) -> None:
        """Let links that are down try at once: a person has looked."""
        self.observe.hurry()
        actuate = commanding(self.link)
        if actuate is not None:
            actuate.hurry()

    def check_links(self) -> None:
        """Let nobody wait for a connection that will not come back.

        Raises: WireError when one has ended without being closed.
        """
        actuate = commanding(self.link)
        if self.observe.has_ended or (actuate is not None and actuate.has_ended):
            raise WireError(
                Finding(
                    what="a connection to the broker has ended by itself",
                    where="the daemon",
                    expected="one that tries again until the daemon is told to end",
                    do="Start the daemon again, and report this: it is its own fault.",
                )
            )

    def gather(self, timeout_s: float) -> tuple[Message, ...]:
        """Wait for news from the world; in shadow, with imagined answers among it."""
        if self.relays is None:
            messages = self.mailbox.collect(timeout_s)
        else:
            waited = self.mailbox.collect(self.relays.wait_s(timeout_s))
            messages = self.relays.heard(waited)
        if self.shadow is None:
            return messages
        shadow = self.shadow
        laid = tuple(
            shadow.overlay(message) if isinstance(message, Beat) else message
            for message in messages
        )
        return (*laid, *shadow.due(self.clock.now().boot_s))

    def close(self) -> None:
        """Close everything in the order in which it may still be needed."""
        if self.meter is not None:
            self.meter.close()
        self.alarm.close()
        self.link.close()
        self.observe.close()
        self.post.close()
        self.memory.close()


def setup_from(state: State, fallback: Machine | None) -> Setup:
    """The approved machine and plans; without an approval, only the machine.

    A cap that a later approval, or the file, holds lower counts at once.
    Raises: InputError when the approved text cannot be read, or when there is neither
    an approval nor a machine.
    """
    approved: dict[int, tuple[Approval, Plan]] = {}
    machines: dict[int, Machine] = {}
    newest: Machine | None = None
    for event in reversed(state.approvals):
        own = machine_from(event.machine)
        caps = state.lowered if newest is None else lower_caps(own, newest)
        own = machines[event.approval.serial] = lowered(own, caps)
        approved[event.approval.serial] = (event.approval, plan_from(event.plan))
        newest = newest or own
    machine = newest or fallback
    if machine is None:
        raise InputError(
            Finding(
                what="there is neither an approved plan nor a readable machine file",
                where="slackwater.toml",
                expected="a machine",
                do="Run `slackwater check`.",
            )
        )
    return make_setup(machine, approved, machines)


def listened_to(setup: Setup) -> Machine:
    """The newest machine with what earlier approved ones still listen to."""
    machine = setup.machine
    for force in setup.forces:
        machine = replace(
            machine,
            tanks={**force.machine.tanks, **machine.tanks},
            nodes={**force.machine.nodes, **machine.nodes},
            probes={**force.machine.probes, **machine.probes},
            switches={**force.machine.switches, **machine.switches},
        )
    return machine


def build(places: Places, clock: Clock, memory: Memory, mode: Mode) -> Rig:
    """One mode's rig; `memory` is open. Nothing is connected yet.

    Raises: InputError with what is wrong in the files.
    """
    # Where the whole file counts, all that is wrong in it is told first.
    fallback = None if memory.state.approvals else read_machine(places.config)
    setup = setup_from(memory.state, fallback)
    machine = listened_to(setup)
    nodes = machine.nodes if fallback is None else None
    beside = read_beside(places.config, places.credentials, nodes)
    broker, keys, notify = beside.broker, beside.keys, beside.notify
    mailbox = BoundedMailbox()
    now = clock.now()
    view = view_of(machine, keys, beside.second_keys)
    observe = Observe(broker, view, mailbox, clock)
    actuate = None
    if mode != "shadow":
        topics = relay_topics(machine)
        actuate = Actuate(broker, keys, mailbox, relay_topics=topics)
    heads = heads_of(machine, memory.state, now.boot_s)
    relays = (
        Relays(heads=heads, clock=clock, asks=observe, commands=actuate)
        if heads
        else None
    )
    link, shadow = _link(actuate, relays, clock)
    return Rig(
        mode=mode,
        places=places,
        clock=clock,
        memory=memory,
        mailbox=mailbox,
        chores=SimpleQueue(),
        observe=observe,
        link=link,
        shadow=shadow,
        relays=relays,
        alarm=SystemAlarm(mailbox.wake),
        setup=setup,
        sight=_sight(memory.state, now, mode),
        root=broker.root,
        home=broker.home,
        post=Nobody() if notify is None else Post(notify),
        meter=_listener(beside.metrics_port),
        summary_at_utc=SUMMARY_AT_UTC if notify is None else notify.summary_at_utc,
    )


def _listener(port: int | None) -> Listener | None:
    """Who hands out figures, if the file asks for it; it is no reason not to dose."""
    if port is None:
        return None
    try:
        return listener_on(port)
    except ModuleNotFoundError as error:
        _log.warning(logs.METRICS_NOT_SERVED, why=f"no package {error.name}")
        return None


def _link(
    actuate: Actuate | None, relays: Relays | None, clock: Clock
) -> tuple[PumpLink, ShadowLink | None]:
    if actuate is None:
        shadow = ShadowLink(clock)
        return shadow, shadow
    return (actuate if relays is None else RelayLink(actuate, relays)), None


def commanding(link: PumpLink) -> Actuate | None:
    """The connection behind a link that can command pumps; None in shadow."""
    inner = link.link if isinstance(link, RelayLink) else link
    return inner if isinstance(inner, Actuate) else None


def _sight(state: State, now: Now, mode: Mode) -> Sight:
    sight = Sight(started_boot_s=now.boot_s)
    # An imagined link is always up; the real one reports itself.
    sight.actuate_up = mode == "shadow"
    recall(sight, state.courses)
    for series in state.readings.values():
        remember(sight, series)
    return sight


def connect(rig: Rig) -> None:
    """Open the connections and start the alarm; the actuate link only if it is one.

    Raises: InputError when a credential cannot be used.
    """
    rig.observe.start()
    actuate = commanding(rig.link)
    if actuate is not None:
        actuate.start()
    rig.alarm.start()
    if isinstance(rig.post, Post):
        rig.post.start()


def is_link_message(message: Message) -> bool:
    """Whether a message only tells of the connections."""
    return isinstance(message, LinkChanged)
