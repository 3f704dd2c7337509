"""The installer below a root of its own: everything but pip and the manager."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.rules import tree

INSTALL = tree.TOP / "systemd" / "install"
FOLDER = tree.TOP / "systemd"
UNITS = tuple(
    path.name for path in FOLDER.iterdir() if path.suffix in (".service", ".timer")
)
UNIT = "slackwater.service"
# Stands for the Python of the machine: its environment runs this very source, and its
# pip writes down what it was asked for, because nothing is fetched here. A mute program
# writes no manual, no completions and no ledger, for tests that look at none of them.
PYTHON = f"""\
#!/bin/sh
if [ "$2" != venv ]; then exec {sys.executable} "$@"; fi
mkdir -p "$3/bin"
cat >"$3/bin/python" <<'END'
#!/bin/sh
if [ "$2" = pip ]; then echo "$@" >>"$(dirname "$0")/asked"; exit 0; fi
PYTHONPATH={tree.TOP / "daemon"} exec {sys.executable} "$@"
END
cat >"$3/bin/slackwater" <<'END'
#!/bin/sh
PYTHONPATH={tree.TOP / "daemon"} exec {sys.executable} -m slackwater "$@"
END
[ -z "$MUTE" ] || printf '#!/bin/sh\n' >"$3/bin/slackwater"
chmod +x "$3/bin/python" "$3/bin/slackwater"
"""


# What a system keeps beside its programs, and a word each text must hold.
SHARE = "usr/local/share"
TEXTS = {
    f"{SHARE}/man/man1/slackwater.1": b".SH NAME",
    f"{SHARE}/bash-completion/completions/slackwater": b"=bash_complete",
    f"{SHARE}/zsh/site-functions/_slackwater": b"#compdef slackwater",
    f"{SHARE}/fish/vendor_completions.d/slackwater.fish": b"=fish_complete",
}


def installed(
    folder: Path, *words: str, mute: bool = False
) -> subprocess.CompletedProcess[str]:
    """What the installer says below this folder's root."""
    stub = folder / "python"
    stub.write_text(PYTHON, "utf-8")
    stub.chmod(0o755)
    return subprocess.run(
        [INSTALL, "--root", folder / "root", *words],
        capture_output=True,
        check=False,
        text=True,
        env={
            "PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
            "PYTHON": str(stub),
            "MUTE": "yes" if mute else "",
        },
    )


def content(folder: Path) -> dict[str, bytes]:
    """Every file below the root with its bytes."""
    root = folder / "root"
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in root.rglob("*")
        if path.is_file()
    }


def test_a_dry_run_tells_every_step_and_does_none(tmp_path: Path) -> None:
    """Program, sample, ledger and units are named; not even the root is made."""
    told = installed(tmp_path, "--dry-run", "--sample", "smallest")
    assert (0, "") == (told.returncode, told.stderr)
    words = ("-m venv", "pip install", "config/smallest/plan.toml", "init --unanswered")
    assert all(word in told.stdout for word in (*words, *UNITS))
    assert not (tmp_path / "root").exists()


def test_installs_upgrades_and_leaves_what_is_yours(tmp_path: Path) -> None:
    """Your files and ledger outlive a second run, and the end of the installation."""
    told = installed(tmp_path, "--sample", "smallest")
    assert (0, "") == (told.returncode, told.stderr)
    places = content(tmp_path)
    assert {f"etc/systemd/system/{unit}" for unit in UNITS} <= places.keys()
    assert "var/lib/slackwater/slackwater.ledger" in places
    assert all(word in places[name] for name, word in TEXTS.items())
    link = tmp_path / "root" / "usr" / "local" / "bin" / "slackwater"
    assert Path("/opt/slackwater/bin/slackwater") == link.readlink()
    config = tmp_path / "root" / "etc" / "slackwater"
    assert 0o640 == (config / "slackwater.toml").stat().st_mode & 0o777
    with (config / "slackwater.toml").open("a", encoding="utf-8") as file:
        file.write("# mine\n")
    yours = {
        name: text
        for name, text in content(tmp_path).items()
        if name.startswith(("etc/slackwater/", "var/lib/slackwater/"))
    }
    unit = tmp_path / "root" / "etc" / "systemd" / "system" / UNIT
    unit.write_text("of an older release\n", "utf-8")
    again = installed(tmp_path, "--sample", "two-tanks")
    assert (0, "") == (again.returncode, again.stderr)
    assert yours.items() <= content(tmp_path).items()
    assert (tree.TOP / "systemd" / UNIT).read_bytes() == unit.read_bytes()
    own = f"etc/systemd/system/{UNIT}.d/own.conf"
    handed = f"etc/systemd/system/{UNIT}.d/credentials.conf"
    assert handed in content(tmp_path)
    (tmp_path / "root" / own).write_text("[Service]\n", "utf-8")
    asked = content(tmp_path)["opt/slackwater/bin/asked"].decode().splitlines()
    assert [f"-m pip install --quiet --upgrade {tree.TOP}"] * 2 == asked
    assert 0 == installed(tmp_path, "--uninstall").returncode
    left = content(tmp_path)
    assert yours.items() <= left.items()
    assert own in left
    assert left.keys().isdisjoint(TEXTS)
    assert not link.is_symlink()
    assert not any("systemd" in n or "opt/" in n for n in left if n != own)


def test_what_a_table_needs_is_installed_with_it(tmp_path: Path) -> None:
    """Figures and messages want a package each, where the file asks for them."""
    config = tmp_path / "root" / "etc" / "slackwater"
    shutil.copytree(tree.TOP / "config" / "smallest", config)
    with (config / "slackwater.toml").open("a", encoding="utf-8") as file:
        file.write("\n[metrics]\nloopback_port = 9464\n")
    told = installed(tmp_path, "--dry-run")
    assert (0, "") == (told.returncode, told.stderr)
    assert f"pip install --quiet --upgrade {tree.TOP}\\[metrics\\]" in told.stdout


def test_a_program_of_the_same_name_stays(tmp_path: Path) -> None:
    """Somebody's own in its place is neither replaced nor taken away."""
    own = tmp_path / "root" / "usr" / "local" / "bin" / "slackwater"
    own.parent.mkdir(parents=True)
    own.write_text("mine\n", "utf-8")
    told = installed(tmp_path, "--sample", "smallest", mute=True)
    assert 0 == told.returncode
    assert "stays as it is" in told.stdout
    assert 0 == installed(tmp_path, "--uninstall", mute=True).returncode
    assert "mine\n" == own.read_text("utf-8")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("", "", "start_hold_off"),
        ("[timing]", "[tide]", "tide"),
    ],
    ids=["shortened", "misspelt"],
)
def test_files_no_tank_should_run_on_are_refused(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    """The demo's short times, or an error in a file: no unit and no ledger is made."""
    config = tmp_path / "root" / "etc" / "slackwater"
    shutil.copytree(tree.TOP / "demo" / "config", config)
    machine = config / "slackwater.toml"
    machine.write_text(machine.read_text("utf-8").replace(old, new), "utf-8")
    told = installed(tmp_path, mute=True)
    assert 2 == told.returncode
    assert said in told.stderr
    assert "Traceback" not in told.stderr
    assert not any(name.endswith((*UNITS, ".ledger")) for name in content(tmp_path))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "--sample smallest"),
        (("--sample",), "nothing behind it"),
        (("--sample", "none-such"), "two-tanks"),
        (("--sample", "../demo/config"), "two-tanks"),
        (("--sampel",), "--sampel"),
    ],
)
def test_wrong_words_change_nothing(
    tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, one error that says what to do, and no root."""
    told = installed(tmp_path, *words)
    assert 2 == told.returncode
    assert said in told.stderr
    assert 1 == told.stderr.count("error: ")
    assert not (tmp_path / "root").exists()
