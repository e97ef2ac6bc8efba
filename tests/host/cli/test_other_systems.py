"""Commands where a system lacks what Linux has. Simulated: what Windows' or macOS' Python does not have is taken away.

Not a try on those systems: it shows that no module of ours needs what is missing there.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
RECORDING = str(next((ROOT / "recordings").glob("*.sward")))
RIG = str(ROOT / "host/rig/examples/harrow-lea-pull-behind.toml")

# From the availability notes in the documentation of Python's standard library, and `sys.platform` on each.
LACKS = {
    "Windows": {
        "modules": ["fcntl", "termios", "pty", "tty", "resource", "grp", "pwd", "readline", "_curses", "syslog"],
        "names": {
            "os": "fork getuid geteuid getgid nice openpty ttyname O_CLOEXEC O_NOCTTY O_NONBLOCK mkfifo killpg setsid "
            "set_blocking statvfs getloadavg sched_getaffinity",
            "socket": "AF_UNIX socketpair_unix",
            "socketserver": "UnixStreamServer UnixDatagramServer ThreadingUnixStreamServer",
            "select": "poll epoll",
            "signal": "SIGHUP SIGQUIT SIGUSR1 SIGUSR2 SIGALRM SIGCHLD pthread_sigmask",
        },
    },
    "macOS": {"modules": [], "names": {"os": "sched_getaffinity O_TMPFILE", "select": "epoll", "socket": "AF_NETLINK"}},
}

# The standard library and the libraries first, which have ways of their own on each system; then what is missing goes.
PRELUDE = """
import asyncio, concurrent.futures, email, http.client, importlib, json, logging, multiprocessing.pool, os, pathlib, \
    select, selectors, shutil, signal, socket, socketserver, ssl, subprocess, sys, tempfile, zoneinfo
import numpy, pint, serial, serial.urlhandler.protocol_socket, serial.tools.list_ports, tomli_w
if sys.argv.pop(1):
    import dash, fastapi, jinja2, pandas, plotly, psutil, pyarrow.parquet, segno, uvicorn, starlette.responses, openpyxl
LACKS = json.loads(sys.argv.pop(1))
for name in LACKS["modules"]:
    sys.modules[name] = None
for module, names in LACKS["names"].items():
    for name in names.split():
        if hasattr(sys.modules[module], name):
            delattr(sys.modules[module], name)
"""
RUN = PRELUDE + "from host.cli.main import main\nsys.exit(main(sys.argv[1:]))\n"
IMPORT_ALL = (
    PRELUDE
    + """
import pkgutil
import dashboards, firmware_protocol, host
failed = []
for package in (firmware_protocol, host, dashboards):
    for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if module.name.endswith("__main__") or module.name == "host.simulate.terminal":
            continue
        try:
            importlib.import_module(module.name)
        except Exception as error:
            failed.append(f"{module.name}: {type(error).__name__}: {error}")
print("\\n".join(failed))
sys.exit(bool(failed))
"""
)
SYSTEMS = sorted(LACKS)


def command(system, code, *arguments, libraries=""):
    return [
        *(sys.executable, "-W", "ignore", "-c", code),
        *(libraries, json.dumps(LACKS[system])),
        *map(str, arguments),
    ]


def swardflow(system, home, *arguments, code=RUN, libraries=""):
    environment = os.environ | {"HOME": str(home)}
    return subprocess.run(
        command(system, code, *arguments, libraries=libraries),
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("system", SYSTEMS)
def test_no_module_needs_what_the_system_lacks(system, tmp_path):
    done = swardflow(system, tmp_path, code=IMPORT_ALL, libraries="all")
    assert done.returncode == 0, done.stdout + done.stderr


READING = (
    ("review", RECORDING),
    ("runs", "--runs", ROOT / "recordings"),
    ("season", "--runs", ROOT / "recordings"),
    ("compare", RECORDING),
    ("report", RECORDING, "--out", "OUT/r.html"),
    ("export", RECORDING, "--out", "OUT/r.csv"),
    ("dataset", "--out", "OUT/d", "--runs", ROOT / "recordings"),
    ("plan", "rate", "--rig", RIG, "--speed", "2.5 mph"),
    ("mix", "--rig", RIG, "--product", "1.5 fl oz/1000 ft2", "--area", "1500 ft2"),
    ("calibrate", "cards", "--rig", RIG, "--cards", "OUT/cards"),
    ("rig", "check", RIG),
    ("schema", "rig"),
    ("simulate", "--list"),
    ("simulate", "demo", "--out", "OUT/s.sward"),
    ("ports", "--no-ask"),
    ("settings",),
)


ALL = (  # commands one after another in one process
    PRELUDE
    + """
from host.cli.main import main
for words in json.loads(sys.argv[1]):
    try:
        code = main(words)
    except SystemExit as stop:
        code = stop.code
    print("CODE", words[0], code, flush=True)
"""
)
# Answers with a sentence: the recording has no catch test before it, and there are no cards in an empty folder.
NOTHING_THERE = {"compare": 2, "calibrate": 2}


def test_commands_that_need_no_board_answer(tmp_path):
    lines = [[str(word).replace("OUT", str(tmp_path)) for word in words] for words in READING]
    done = swardflow("Windows", tmp_path, json.dumps(lines), code=ALL, libraries="all")
    assert "Traceback" not in done.stderr, done.stderr
    codes = [line.split()[1:] for line in done.stdout.splitlines() if line.startswith("CODE ")]
    assert [name for name, _ in codes] == [words[0] for words in READING], done.stderr
    for name, code in codes:
        assert int(code) in (0, 1, NOTHING_THERE.get(name, 0)), f"{name}: {code}\n{done.stderr}"


def lines_until(process, text, patience_s=60.0):
    said = ""
    end = time.monotonic() + patience_s
    while text not in said:
        assert time.monotonic() < end and process.poll() is None, said
        said += process.stdout.readline()
    return said


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_run_is_recorded_over_a_socket_and_told_to_stop(system, tmp_path):
    environment = os.environ | {"HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    pipes = {"cwd": ROOT, "env": environment, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    running = []
    try:
        board = subprocess.Popen(command(system, RUN, "simulate", "demo", "--link", "socket://127.0.0.1:0"), **pipes)
        running.append(board)
        port = lines_until(board, "begins when").split("port ")[1].split()[0].rstrip(",")
        assert port.startswith("socket://127.0.0.1:")
        recorder = subprocess.Popen(
            command(system, RUN, "record", "--port", port, "--rig", RIG, "--runs", tmp_path / "runs"), **pipes
        )
        running.append(recorder)
        end = time.monotonic() + 120
        while not any(b"\nL " in run.read_bytes() for run in (tmp_path / "runs").glob("*.sward")):
            assert time.monotonic() < end and recorder.poll() is None, recorder.stdout.read()
            time.sleep(0.05)
        asked = [
            ["tell", "latest", *what, "--runs", str(tmp_path / "runs")]
            for what in (["status"], ["mark", "gate"], ["stop"])
        ]
        told = swardflow(system, tmp_path, json.dumps(asked), code=ALL)
        assert told.stdout.count("CODE tell 0\n") == 3, told.stdout + told.stderr
        recorder.wait(60)
        (run,) = (tmp_path / "runs").glob("*.sward")
        said = json.loads(swardflow(system, tmp_path, "review", run, "--json", "--no-faults").stdout)
        assert said["recording"]["complete"] and "gate" in json.dumps(said["events"])
    finally:
        for process in running:
            process.kill()
            process.wait()
            process.stdout.close()
