"""Small mistakes put into the code, one at a time: which of them does no test notice?

    .venv/bin/python -m tests.soak.mutants [AREA …] [--most N] [--seed N] [--at FILE:LINE …]

An area is one of AREAS: some modules, and the tests that should hold them. Of every area `--most` mistakes are drawn: a
number that is half as large again, a comparison the other way or one off, plus for minus, `and` for `or`, a condition
turned round. Each is tried in a copy of the code; the work tree is not touched. The tests of an area run once without
any mistake, to see which functions every test enters; a mistake is then shown only to the tests that come by, quickest
first, until one fails. What survives is printed with its line: either no test would notice, or the mistake changes
nothing that matters. One takes some seconds of processor time.
"""

from __future__ import annotations

import argparse
import ast
import gc
import os
import pickle
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
# What the tests import and nobody mutates: loaded once, before forking.
IMPORTED = ("numpy", "pint", "pytest", "hypothesis", "scipy.stats", "iapws", "uncertainties", "fluids", "serial")
AREAS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "pipeline": (
        ("host/pipeline/*.py",),
        ("tests/host/pipeline", "tests/independent_board", "tests/host/review/test_review.py"),
    ),
    "faults": (("host/pipeline/faults/*.py", "host/pipeline/faults/causes/*.py"), ("tests/host/pipeline/faults",)),
    "journal": (("host/journal/*.py",), ("tests/host/journal", "tests/host/damage")),
    "recorder": (("host/recorder/*.py",), ("tests/host/recorder/test_recording.py", "tests/host/recorder")),
    "link": (("host/link/*.py",), ("tests/host/link",)),
    "calibrate": (("host/calibrate/*.py", "host/calibrate/kinds/*.py"), ("tests/host/calibrate",)),
    "plan": (("host/plan/*.py",), ("tests/host/plan",)),
}
PARTS = ("host", "firmware_protocol", "dashboards", "tests", "recordings")
LONGEST_TEST_S = 15.0
MOST_BYTES = 4 << 30  # a mistake may pile up rows without end
COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
COMPUTED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


@dataclass(frozen=True)
class Mutant:
    """One mistake: the file with it in, and how its line reads before and after."""

    path: Path
    line: int
    before: str
    after: str
    text: str
    function: int | None  # first line of the function it is in, decorators included; None: outside of any


def changed(node: ast.AST) -> ast.AST | None:
    """The node with a mistake in it; None where none is known."""
    mistake: ast.AST | None = None
    match node:
        case ast.Constant(value=bool() as value):
            mistake = ast.Constant(not value)
        case ast.Constant(value=int() | float() as value):
            mistake = ast.Constant(value * 1.5 if isinstance(value, float) and value else value + 1)
        case ast.Compare(ops=[only]) if type(only) in COMPARED:
            mistake = ast.Compare(node.left, [COMPARED[type(only)]()], node.comparators)
        case ast.BinOp(op=op) if type(op) in COMPUTED:
            mistake = ast.BinOp(node.left, COMPUTED[type(op)](), node.right)
        case ast.BoolOp(op=op):
            mistake = ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(op=ast.Not()):
            mistake = node.operand
    return mistake


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Every mistake that could be put into a file, one after the other."""
    text = path.read_text(encoding="utf-8")
    lines = text.encode().splitlines(keepends=True)
    tree = ast.parse(text)
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    for node in ast.walk(tree):
        replaced = changed(node)
        if replaced is None or node.lineno != node.end_lineno:  # type: ignore[attr-defined]
            continue
        number, begin, end = node.lineno - 1, node.col_offset, node.end_col_offset  # type: ignore[attr-defined]
        before = lines[number]
        after = before[:begin] + f"({ast.unparse(ast.fix_missing_locations(replaced))})".encode() + before[end:]
        mutated = b"".join([*lines[:number], after, *lines[number + 1 :]]).decode()
        try:
            ast.parse(mutated)
        except SyntaxError:  # inside an f-string, or a default that must be a name
            continue
        around = [one for one in functions if one.lineno <= node.lineno <= (one.end_lineno or 0)]  # type: ignore[attr-defined]
        function = max(map(_first_line, around), default=None)
        yield Mutant(path, number + 1, before.decode().strip(), after.decode().strip(), mutated, function)


def _first_line(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return min([function.lineno, *(decorator.lineno for decorator in function.decorator_list)])


class Reach:
    """A pytest plugin: which functions of the areas every test enters, and how long it takes.

    What is entered while a test is set up belongs to its whole file, for a fixture may be made once for all. A test
    that starts a process may reach anything.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = f"{folder}/host/"
        self.entered: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self.seconds: dict[str, float] = defaultdict(float)
        self.failed: set[str] = set()
        self._now: set[tuple[str, int]] = set()

    def _trace(self, frame: Any, _event: str, _arg: object) -> None:
        code = frame.f_code
        if code.co_filename.startswith(self.folder):
            self._now.add((code.co_filename, code.co_firstlineno))
        elif code.co_name == "_execute_child":
            self._now.add(("a process", 0))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: Any) -> Iterator[None]:
        threading.settrace(self._trace)
        sys.settrace(self._trace)
        yield
        sys.settrace(None)
        return True

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed:
            self.failed.add(report.nodeid)
        place = report.nodeid if report.when == "call" else report.nodeid.split("::")[0]
        self.entered[place] |= self._now
        self.seconds[report.nodeid] += report.duration
        self._now.clear()

    def tests_of(self, path: Path, function: int | None) -> list[str]:
        """The tests that enter a function of a file, quickest first, then the others of their files.

        `function` is its first line; None is what stands outside of any, and then any test of the file's functions
        counts, or every test where the file has none.
        """

        def reaches(place: str) -> bool:
            found = self.entered[place]
            if ("a process", 0) in found:
                return True
            return any(file == str(path) and function in (None, line) for file, line in found)

        if function is None and not any(file == str(path) for found in self.entered.values() for file, _ in found):
            return sorted(self.seconds, key=self.seconds.__getitem__)
        direct = {test for test in self.seconds if reaches(test)}
        files = {place.split("::")[0] for place in list(self.entered) if reaches(place)}
        rest = {test for test in self.seconds if test.split("::")[0] in files} - direct
        return [*sorted(direct, key=self.seconds.__getitem__), *sorted(rest, key=self.seconds.__getitem__)]


class Only:
    """A pytest plugin: run these tests alone, in this order."""

    def __init__(self, tests: list[str]) -> None:
        self.place = {test: index for index, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.place), key=lambda item: self.place[item.nodeid]
        )


def run_tests(copy: Path, tests: Iterable[str], plugin: object, cpu_s: float, report: Path | None = None) -> int | None:
    """The exit code of pytest over tests in the copy, in a process of its own; None when it was ended for its time."""
    child = os.fork()
    if child == 0:
        try:
            _become_pytest(copy, tests, plugin, cpu_s, report)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(99)  # whatever happened: this process never goes on from here
    began = time.monotonic()
    while time.monotonic() - began < 300 + 10 * cpu_s:
        pid, status = os.waitpid(child, os.WNOHANG)
        if pid:
            code = os.waitstatus_to_exitcode(status)
            return None if code < 0 else code
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _become_pytest(copy: Path, tests: Iterable[str], plugin: object, cpu_s: float, report: Path | None) -> None:
    """In the child, which ends here."""
    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s)))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    said = os.open(copy / "said.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(said, 1)
    os.dup2(said, 2)
    os.chdir(copy)
    for name in list(sys.modules):
        if name.split(".")[0] in PARTS:
            del sys.modules[name]  # this program's own, from the work tree
    sys.path.insert(0, str(copy))
    os.environ["PYTHONPATH"] = str(copy)
    sys.dont_write_bytecode = True
    options = [
        *(["-x"] if report is None else []),
        "-q",
        "--tb=line",
        "-n0",
        "-pno:cacheprovider",
        "-Wignore::pytest.PytestAssertRewriteWarning",
    ]
    code = pytest.main([*options, *tests], plugins=[plugin])
    if report is not None:
        found = (plugin.entered, plugin.seconds, plugin.failed)  # type: ignore[attr-defined]
        report.write_bytes(pickle.dumps(found))
    os._exit(int(code))


def measured(area: str, copy: Path) -> Reach:
    """Run all tests of an area without any mistake: who enters what. Tests that fail or take long are left out."""
    reach, report = Reach(copy), copy / "reach.pickle"
    if run_tests(copy, [name for name in AREAS[area][1] if (copy / name).exists()], reach, 3600, report) not in (0, 1):
        sys.exit((copy / "said.txt").read_text(encoding="utf-8") + f"\nthe tests of {area} do not run")
    reach.entered, seconds, failed = pickle.loads(report.read_bytes())
    left_out = {test for test, took in seconds.items() if took > LONGEST_TEST_S} | failed
    reach.seconds = defaultdict(float, {test: took for test, took in seconds.items() if test not in left_out})
    print(f"{area}: {len(reach.seconds)} tests; left out: {', '.join(sorted(left_out)) or 'none'}", flush=True)
    return reach


def noticed(mutant: Mutant, copy: Path, reach: Reach) -> str | None:
    """What noticed a mistake: the first test that fails, or its time; None where nothing did."""
    tests = reach.tests_of(mutant.path, mutant.function)
    if not tests:
        return None
    whole = mutant.path.read_text(encoding="utf-8")
    mutant.path.write_text(mutant.text, encoding="utf-8")
    try:
        usual_s = sum(reach.seconds[test] for test in tests)
        code = run_tests(copy, sorted({test.split("::")[0] for test in tests}), Only(tests), 30 + 4 * usual_s)
    finally:
        mutant.path.write_text(whole, encoding="utf-8")
    said = (copy / "said.txt").read_text(encoding="utf-8", errors="replace")
    failed = re.search(r"^(?:FAILED|ERROR) (\S+)", said, re.MULTILINE)
    return "its time" if code is None else None if code == 0 else failed[1] if failed else f"exit code {code}"


def hunt(area: str, copy: Path, args: argparse.Namespace) -> list[Mutant]:
    """The mistakes of an area, of those drawn, that no test noticed."""
    files = sorted(path for pattern in AREAS[area][0] for path in copy.glob(pattern))
    everything = [mutant for path in files for mutant in mutants_of(path)]
    drawn = random.Random(args.seed).sample(everything, min(args.most, len(everything)))
    if args.at:
        drawn = [mutant for mutant in everything if f"{mutant.path.relative_to(copy)}:{mutant.line}" in args.at]
    reach = measured(area, copy)
    survivors = []
    for number, mutant in enumerate(drawn, start=1):
        by = noticed(mutant, copy, reach)
        print(f"{area} {number}/{len(drawn)} {f'noticed by {by}' if by else 'SURVIVED'}")
        print(f"  {mutant.path.relative_to(copy)}:{mutant.line}\n  - {mutant.before}\n  + {mutant.after}", flush=True)
        survivors += [] if by else [mutant]
    print(f"{area}: {len(drawn) - len(survivors)} of {len(drawn)} noticed; {len(everything)} could be made", flush=True)
    return survivors


def main() -> int:
    """Hunt in every area that was named; 1 when anything survived."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("areas", nargs="*", metavar="AREA", help=f"of {', '.join(AREAS)} (default: all)")
    parser.add_argument("--most", type=int, default=25, help="mistakes for each area (default %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="which are drawn (default %(default)s)")
    parser.add_argument("--at", action="append", metavar="FILE:LINE", help="all mistakes of this line, and none drawn")
    args = parser.parse_args()
    for name in IMPORTED:
        import_module(name)
    gc.freeze()
    sys.path[:] = [entry for entry in sys.path if Path(entry or ".").resolve() != ROOT]
    survivors = []
    with tempfile.TemporaryDirectory(prefix="swardflow-mutants-") as folder:
        copy = Path(folder)
        for part in PARTS:
            shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy2(ROOT / "pyproject.toml", copy)
        for area in args.areas or AREAS:
            survivors += hunt(area, copy, args)
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
