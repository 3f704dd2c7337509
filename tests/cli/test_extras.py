"""Tables that need a package: a caution where it is not there, and no error."""

from pathlib import Path

import pytest

from slackwater.cli.extras import is_installed, lacking
from tests.cli.run_program import SMALLEST, changed, run

TABLES = '[metrics]\n[notify]\nurls_file = "notify.urls"\n'


def with_tables(folder: Path, tables: str) -> Path:
    """The smallest sample with more tables."""
    config = changed(folder / "config", SMALLEST)
    with (config / "slackwater.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{tables}")
    return config


@pytest.mark.parametrize(
    ("there", "expected"),
    [
        ({"prometheus_client", "apprise"}, []),
        ({"apprise"}, ["metrics"]),
        (set(), ["metrics", "notify"]),
    ],
)
def test_a_package_that_is_not_there_is_named_with_its_table(
    tmp_path: Path, there: set[str], expected: list[str]
) -> None:
    """What it is, what does not happen, and how to mend it."""
    found = list(lacking(with_tables(tmp_path, TABLES), there.__contains__))
    assert [f"slackwater.toml, [{name}]" for name in expected] == [
        one.where for one in found
    ]
    assert all(
        f"'.[{name}]'" in one.do for name, one in zip(expected, found, strict=True)
    )


def test_without_the_tables_nothing_is_needed() -> None:
    """Whatever is installed."""
    assert [] == list(lacking(SMALLEST, lambda _package: False))


def test_looks_at_what_is_installed() -> None:
    """A package that every installation has, and one that nobody wrote."""
    assert is_installed("click")
    assert not is_installed("no_such_package_anywhere")


def test_a_check_minds_it_and_finds_nothing_wrong(tmp_path: Path) -> None:
    """The exit code stays, for nothing of it keeps a dose from being given."""
    config = with_tables(tmp_path, "[metrics]\n")
    told = run("check", "--config", config)
    assert 0 == told.code
    assert is_installed("prometheus_client") != ("prometheus-client is not" in told.out)
