"""The wheel alone, in an environment and a folder of its own: what the README says can be done with it."""

import os
import re
import shlex
import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
pytestmark = [pytest.mark.journey, pytest.mark.timeout(1200)]


def run(*words, cwd, env=None):
    done = subprocess.run([str(word) for word in words], cwd=cwd, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{words}: {done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", folder, ROOT, cwd=folder)
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """The folder of commands of a new environment that has the wheel and nothing of the clone."""
    folder = tmp_path_factory.mktemp("new") / "env"
    venv.create(folder, with_pip=True)
    constraints = ROOT / ".ci/constraints.txt"
    run(folder / "bin/python", "-m", "pip", "install", "-q", "-c", constraints, wheel, cwd=folder)
    return folder / "bin"


def test_the_wheel_holds_firmware_guides_rigs_and_types(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    tracked = run("git", "ls-files", "firmware_protocol/board", "host", "dashboards", cwd=ROOT).splitlines()
    kept = (".c", ".h", "Makefile", ".ini", ".ld", ".md", ".toml", ".html", ".css", ".js", ".svg", ".py", "py.typed")
    wanted = {name for name in tracked if name.endswith(kept) and not name.startswith("dashboards/screens")}
    assert not wanted - names
    assert {name for name in names if name.endswith(".sward")} == {
        f"recordings/{path.name}" for path in (ROOT / "recordings").glob("*.sward")
    }
    assert {f"{package}/py.typed" for package in ("host", "dashboards", "firmware_protocol")} <= names


def test_guides_in_the_wheel_link_to_what_is_in_it(wheel, tmp_path):
    zipfile.ZipFile(wheel).extractall(tmp_path)
    dead = []
    for guide in tmp_path.rglob("*.md"):
        if "dist-info" in str(guide):
            continue
        for link in re.findall(r"\]\(([^)#\s]+)\)", guide.read_text(encoding="utf-8")):
            target = (guide.parent / link).resolve()
            if not target.exists():
                dead.append((guide.name, link))
    # Pages of the repository, which a package cannot hold: named here so that no other is added unseen.
    assert {Path(link).name for _, link in dead} <= {"README.md", "DEVELOPERS.md", "MEASURED.md"}, dead


# They need a board or a catch test, or go on until they are ended: tests/dashboards and tests/host start them.
NOT_ALONE = ("open", "watch", "bringup", "calibrate", "compare")


def readmes_commands():
    """Every command of the README in order, in blocks, tables and sentences; `…` stands for what a reader puts in."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^ *swardflow (.+)$|`swardflow ([^`]+)`", text, re.MULTILINE)
    return [shlex.split(block or inline) for block, inline in lines]


def test_every_command_of_the_readme_works_as_written_from_the_wheel_in_an_empty_folder(installed, tmp_path):
    said, commands = {}, readmes_commands()
    runs, here = tmp_path / "home" / "swardflow-runs", tmp_path / "here"
    runs.mkdir(parents=True)
    here.mkdir()
    home = {"HOME": str(runs.parent), "PATH": os.environ["PATH"], "LANG": "C.UTF-8"}
    assert len(commands) >= 16 and {words[0] for words in commands} >= {"simulate", "plan", "mix", "compare", "backup"}
    shutil.copy(ROOT / "host/rig/examples/harrow-lea-walker.toml", here / "my.toml")
    for words in commands:
        if words[0] in NOT_ALONE or words[:2] == ["rig", "new"]:
            continue
        said[" ".join(words)] = run(installed / "swardflow", *words, cwd=here, env=home)
        if words[0] == "simulate":  # from now on there is a latest run
            shutil.copy(here / "clog.sward", runs)
    assert "clogged" in said["review example"] and "clogged" in said["review clog.sward"]
    assert {path.name for path in here.iterdir()} >= {
        "clog.sward",
        "clog.html",
        "clog.csv",
        "clog.datapackage.json",
        "FILE",
    }
    assert "clog" in run(
        installed / "python", "-c", "import host; print(host.open_run('clog.sward').faults.cause[0])", cwd=here
    )
    where = run(installed / "python", "-c", "import firmware_protocol as f; print(f.__path__[0] + '/board')", cwd=here)
    assert (Path(where.strip()) / "Makefile").exists()
