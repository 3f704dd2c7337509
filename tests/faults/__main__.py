"""`python -m tests.faults SEED [--days D]` sails one voyage again and tells its story.

`python -m tests.faults --run N [--from SEED] [--days D]` sails N of them on all cores
and prints what befell them and what was broken. It ends with 1 if anything was, or if
of many voyages none met one of the faults.
"""

import argparse
import sys

from tests.faults.fleet import fleet, report
from tests.faults.voyage import DAYS, story

# So many voyages meet every fault there is; fewer may not.
ENOUGH = 40


def main() -> int:
    """Sail as the words say."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("seed", type=int, nargs="?", help="a voyage to tell again")
    parser.add_argument("--days", type=float, default=DAYS, help="how long each lasts")
    parser.add_argument("--run", type=int, default=0, help="how many to sail")
    parser.add_argument("--from", type=int, default=0, dest="first", help="first seed")
    asked = parser.parse_args()
    if asked.seed is not None:
        for line in story(asked.seed, asked.days):
            sys.stdout.write(f"{line}\n")
        return 0
    sailed = fleet(asked.first, asked.run, asked.days)
    for line in report(sailed):
        sys.stdout.write(f"{line}\n")
    return int(sailed.is_broken or (asked.run >= ENOUGH and bool(sailed.never())))


if __name__ == "__main__":
    sys.exit(main())
