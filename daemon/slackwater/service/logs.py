"""How the daemon logs, and the names of everything it logs.

Floor 7. One subject: structlog set up once per process. Laws here: key and value,
never sentences built in code; names are past tense; no secret is ever a value; the
ledger is the truth and logs may be lost.
"""

import logging
import os
import sys

import structlog

DAEMON_STARTED = "daemon_started"
DAEMON_STOPPED = "daemon_stopped"
DAEMON_GAVE_UP = "daemon_gave_up"
EVENT_WRITTEN = "event_written"
INTENT_REFUSED = "intent_refused"
DECISIONS_REPLAYED = "decisions_replayed"
COMMAND_SENT = "command_sent"
COMMAND_NOT_SENT = "command_not_sent"
STOP_SENT = "stop_sent"
SETUP_READ = "setup_read"
SETTINGS_LEFT_OUT = "settings_left_out"
STAGE_CHANGED = "stage_changed"
LEDGER_MOVED = "ledger_moved"
LEDGER_VERIFIED = "ledger_verified"
LEDGER_DAMAGED = "ledger_damage_found"
ANNOUNCEMENT_PUT_OFF = "announcement_put_off"
METRICS_NOT_SERVED = "metrics_not_served"
STATE_NOT_SHOWN = "state_not_shown"
ASSESSMENT_FAILED = "assessment_failed"
CLOCK_STEPPED = "clock_stepped"
TURN_FAILED = "turn_failed"


def set_up(*, terminal: bool, level: int = logging.INFO) -> None:
    """Log to stderr: readable on a terminal, one JSON document a line otherwise.

    Without colours where NO_COLOR holds anything (no-color.org). Tracebacks are plain,
    whatever could draw them.
    """
    renderer: structlog.types.Processor = (
        structlog.dev.ConsoleRenderer(
            colors=not os.environ.get("NO_COLOR"),
            exception_formatter=structlog.dev.plain_traceback,
        )
        if terminal
        else structlog.processors.JSONRenderer()
    )
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.StackInfoRenderer(),
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
