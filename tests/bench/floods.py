"""What a flood of messages does to doses and memory.

`python -m tests.bench.floods [SECONDS [PER_SECOND]]` lets an invented household dose
each second while ten thousand messages a second, or so many, come on a topic nobody
listens to, then on a node's own topic, and prints what became of the doses.
"""

import statistics
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.service.floods import BEAT_AT, PER_S, UNRELATED, Measured, flooded


def main() -> None:
    """Flood both topics, one after the other, and print."""
    span_s = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    per_s = int(sys.argv[2]) if len(sys.argv) > 2 else PER_S
    for topic in (UNRELATED, BEAT_AT):
        with tempfile.TemporaryDirectory() as name:
            sys.stdout.write(told(topic, flooded(Path(name), (topic,), span_s, per_s)))
            sys.stdout.flush()


def told(topic: str, made: Measured) -> str:
    """The figures of one flood, in lines."""
    late_ms = sorted(1000 * late for late in made.late_s) or [0.0]
    reasons = ", ".join(f"{n} {code}" for code, n in Counter(made.missed).items())
    lines = [
        topic,
        f"  sent         {made.sent} messages, {made.per_s:.0f} a second",
        f"  doses        {made.due} due, {made.begun} begun ({made.on_time:.1%})",
        f"  missed for   {reasons or 'nothing'}",
        f"  unexplained  {len(made.unexplained)}",
        f"  late         {statistics.median(late_ms):.0f} to {late_ms[-1]:.0f} ms",
        f"  memory       {made.rss_kib[-1] / 1024:.1f} MiB, at last {made.growth:+.2%}",
        f"  unsafe       {made.unsafe or 'nothing'}",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
