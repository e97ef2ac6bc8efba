"""Small mistakes put into the code, one at a time: which of them does no test notice?

    .venv/bin/python -m tests.soak.mutants [AREA …] [--most N] [--seed N]

An area is one of AREAS: some modules, and the tests that should hold them. Of every area `--most` mistakes are drawn: a
number that is half as large again, a comparison the other way or one off, plus for minus, `and` for `or`, a condition
turned round. Each is tried in a copy of the code; the work tree is not touched. What survives is printed with its line:
either no test would notice, or the mistake changes nothing that matters. One takes some seconds of processor time.
"""

from __future__ import annotations

import argparse
import ast
import gc
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).parents[2]
# What the tests import and nobody mutates: loaded once, before forking.
IMPORTED = ("numpy", "pint", "pytest", "hypothesis", "scipy.stats", "iapws", "uncertainties", "fluids", "serial")
AREAS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "pipeline": (("host/pipeline/*.py",), ("tests/host/pipeline",)),
    "faults": (("host/pipeline/faults/*.py", "host/pipeline/faults/causes/*.py"), ("tests/host/pipeline/faults",)),
    "journal": (("host/journal/*.py",), ("tests/host/journal", "tests/host/damage")),
    "recorder": (("host/recorder/*.py",), ("tests/host/recorder/test_recording.py", "tests/host/recorder")),
    "link": (("host/link/*.py",), ("tests/host/link",)),
    "calibrate": (("host/calibrate/*.py", "host/calibrate/kinds/*.py"), ("tests/host/calibrate",)),
    "plan": (("host/plan/*.py",), ("tests/host/plan",)),
}
PARTS = ("host", "firmware_protocol", "dashboards", "tests", "recordings")
LONGEST_S = 240.0  # of processor time: a mistake may make an endless loop
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
    for node in ast.walk(ast.parse(text)):
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
        yield Mutant(path, number + 1, before.decode().strip(), after.decode().strip(), mutated)


def noticed(mutant: Mutant | None, copy: Path, tests: tuple[str, ...]) -> bool:
    """Whether a test fails with the mistake in the copy, or runs for ever. Without a mistake: whether any fails."""
    place = copy / mutant.path.relative_to(ROOT) if mutant else None
    if mutant and place:
        place.write_text(mutant.text, encoding="utf-8")
    try:
        child = os.fork()
        if child == 0:
            try:
                _run_tests(copy, tests)
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(99)  # whatever happened: this process never goes on from here
        began = time.monotonic()
        while True:
            pid, status = os.waitpid(child, os.WNOHANG)
            if pid:
                return os.waitstatus_to_exitcode(status) != 0
            if time.monotonic() - began > 3 * LONGEST_S:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return True
            time.sleep(0.05)
    finally:
        if mutant and place:
            shutil.copy2(mutant.path, place)


def _run_tests(copy: Path, tests: tuple[str, ...]) -> None:
    """In a process of its own, which ends here."""
    import resource

    import pytest

    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (int(LONGEST_S), int(LONGEST_S)))
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
    existing = [name for name in tests if (copy / name).exists()]
    os._exit(
        int(
            pytest.main(
                [
                    "-x",
                    "-q",
                    "-W",
                    "ignore::pytest.PytestAssertRewriteWarning",
                    "-n",
                    "0",
                    "-p",
                    "no:cacheprovider",
                    *existing,
                ]
            )
        )
    )


def hunt(area: str, most: int, rng: random.Random, copy: Path) -> list[Mutant]:
    """The mistakes of an area, of those drawn, that no test noticed."""
    patterns, tests = AREAS[area]
    files = sorted(path for pattern in patterns for path in ROOT.glob(pattern))
    everything = [mutant for path in files for mutant in mutants_of(path)]
    drawn = rng.sample(everything, min(most, len(everything)))
    if noticed(None, copy, tests):
        sys.exit((copy / "said.txt").read_text(encoding="utf-8") + f"\nthe tests of {area} fail without any mistake")
    survivors = []
    for number, mutant in enumerate(drawn, start=1):
        alive = not noticed(mutant, copy, tests)
        survivors += [mutant] if alive else []
        print(f"{area} {number}/{len(drawn)} {'SURVIVED' if alive else 'noticed'}", flush=True)
        if alive:
            print(
                f"  {mutant.path.relative_to(ROOT)}:{mutant.line}\n  - {mutant.before}\n  + {mutant.after}", flush=True
            )
    print(f"{area}: {len(drawn) - len(survivors)} of {len(drawn)} noticed; {len(everything)} could be made", flush=True)
    return survivors


def main() -> int:
    """Hunt in every area that was named; 1 when anything survived."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("areas", nargs="*", metavar="AREA", help=f"of {', '.join(AREAS)} (default: all)")
    parser.add_argument("--most", type=int, default=25, help="mistakes for each area (default %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="which are drawn (default %(default)s)")
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
            survivors += hunt(area, args.most, random.Random(args.seed), copy)
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
