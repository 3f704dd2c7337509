"""`python -m tests.mutants AREA` tries every mutant of an area on its tests.

With `--sample N` only so many, drawn by `--seed`; with `--module NAME` one module; with
`--replay NAME ...` these mutants alone. `@FILE` stands for words in a file, one a line.
It ends with 1 if one survived that is not known to be the same program.
"""

import argparse
import os
import random
import sys
import tempfile

import pytest
from hypothesis import HealthCheck, Phase, settings

from tests.mutants.bench import Bench, Fate, report
from tests.mutants.catalogue import AREAS, Mutant, mutants_of

QUIET = ("-q", "-q", "-p", "no:randomly", "-p", "no:cacheprovider", "--timeout=0")
# hypothesis is there before pytest can rewrite its assertions: it would say so.
LOADED_BEFORE = "ignore::pytest.PytestAssertRewriteWarning"


def asked() -> argparse.Namespace:
    """The words it was called with."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutants", fromfile_prefix_chars="@"
    )
    parser.add_argument("area", choices=AREAS)
    parser.add_argument("--module", default="", help="one module of it")
    parser.add_argument("--sample", type=int, default=0, help="try so many; 0 for all")
    parser.add_argument("--seed", type=int, default=0, help="which ones are drawn")
    parser.add_argument("--replay", nargs="+", default=[], help="these mutants alone")
    parser.add_argument(
        "--within", type=float, default=3, help="seconds of tests for each; 0 for all"
    )
    parser.add_argument("--list", action="store_true", help="only say what there is")
    return parser.parse_args()


def chosen(words: argparse.Namespace) -> list[Mutant]:
    """The mutants asked for."""
    found = mutants_of(words.area)
    if words.module:
        found = [one for one in found if one.path.stem == words.module]
    if words.replay:
        found = [one for one in found if one.name in set(words.replay)]
    if 0 < words.sample < len(found):
        chance = random.Random(words.seed)  # noqa: S311  # to be drawn again
        drawn = chance.sample(range(len(found)), words.sample)
        found = [found[index] for index in sorted(drawn)]
    return found


def settle_examples() -> None:
    """The same examples each time, none kept, and none made smaller."""
    settings.register_profile(
        "mutants",
        settings.default,
        phases=(Phase.explicit, Phase.generate),
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    settings.load_profile("mutants")


def main() -> int:
    """Try what was asked for, and say what became of it."""
    words = asked()
    mutants = chosen(words)
    # Past what pytest catches.
    with os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1) as told:

        def tell(line: str) -> None:
            told.write(f"{line}\n")

        if words.list or not mutants:
            for mutant in mutants:
                tell(str(mutant))
            return int(not mutants)
        bench = Bench(mutants=mutants, tell=tell, within_s=words.within)
        return tried(words.area, bench)


def tried(area: str, bench: Bench) -> int:
    """Whether one survived, after all were tried on the tests of an area."""
    settle_examples()
    with tempfile.TemporaryDirectory() as folder:
        place = f"--basetemp={folder}/tests"
        # What a killed process writes is past the change.
        tests = ("-m", "not kill", f"tests/{area}", "tests/turn")
        code = pytest.main(
            [*QUIET, "-W", LOADED_BEFORE, place, *tests], plugins=[bench]
        )
    for line in report(bench.fates):
        bench.tell(line)
    survived = any(fate is Fate.SURVIVED for _, fate in bench.fates)
    return int(survived or code != pytest.ExitCode.OK)


if __name__ == "__main__":
    sys.exit(main())
