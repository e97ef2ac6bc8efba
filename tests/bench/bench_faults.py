"""How soon and how surely faults are called. Run: python -m tests.bench.bench_faults [PART]

PART is one of
  delays    seconds from a sudden clog to the alarm, mean and 95 %, beside a lower bound and other detectors, all at one
            false-alarm rate
  healthy   false alarms over healthy hours
  drift     the same with sensors that drift three times as much (`--drift`)
  causes    confusion of causes
  creep     a clog that grows over ten minutes
`--size short` takes some minutes for all parts, `medium` far longer: a healthy hour costs about a second of processor
time. Single results go to a file as they come (`--keep`), and a second start goes on where the first one stopped. Seeds
of tuning and of judging never meet: tuning used 0 to 99 999.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from host.pipeline import Pipeline
from host.pipeline.faults.tuning import TUNING
from tests.bench.fault_rivals import RIVALS, signal
from tests.bench.fault_runs import CAUSES, RIGS, fault_run, healthy_frames, rig_named
from tests.host.pipeline.made import IDENTITY

AMOUNTS = (1.0, 0.5, 0.25, 0.1)
CAP_S = 25.0  # a clog not called by then is missed
FRAME_S = 0.1
LOG_ARL = math.log(100 * 3600 / FRAME_S)  # one false alarm in a hundred hours of frames
JUDGING = 1_000_000
SIZES = {
    "short": {"trials": 12, "tune_h": 6, "healthy_h": 12, "drift_h": 4, "causes": 1, "rigs": 2, "rivals": 1},
    "medium": {"trials": 40, "tune_h": 12, "healthy_h": 512, "drift_h": 40, "causes": 2, "rigs": 8, "rivals": 1},
    "full": {"trials": 200, "tune_h": 60, "healthy_h": 800, "drift_h": 160, "causes": 12, "rigs": 8, "rivals": 8},
}


class Kept:
    """Results by key in a file of JSON lines, so that nothing is computed twice."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._known: dict[str, Any] = {}
        if path and path.exists():
            for line in path.read_text().splitlines():
                key, value = json.loads(line)
                self._known[key] = value

    def get(self, key: str, make: Callable[[], Any]) -> Any:
        if key not in self._known:
            self._known[key] = make()
            if self._path:
                with self._path.open("a") as file:
                    file.write(json.dumps([key, self._known[key]]) + "\n")
        return self._known[key]


def lower_bound_s(sigma: float, drop: float) -> float:
    """Delay below which no detector with this false-alarm rate can stay on average, to first order.

    The information about a drop seen through the rotor's lag, Σ (drop·h)²/(2σ²), must reach ln ARL (Lai, IEEE Trans.
    Information Theory 44, 1998); `sigma` is the white part of one frame's noise.
    """
    information, t = 0.0, 0.0
    step = 0.001
    while information < LOG_ARL and t < CAP_S:
        t += step
        seen = drop * (1.0 - math.exp(-t / TUNING.lag_s))
        information += seen * seen / (2 * sigma * sigma) * step / FRAME_S
    return t


def first_called(faults: list[Any], at_s: float, kinds: set[str] | None = None) -> float:
    called = [f.called_s - at_s for f in faults if f.called_s >= at_s and (kinds is None or f.kind in kinds)]
    return min([*called, CAP_S])


def tuned_rivals(name: str, hours: int, kept: Kept) -> dict[str, float]:
    """The most sensitive thresholds with at most one alarm per hundred hours (none when there are fewer)."""

    def make() -> dict[str, float]:
        values = [signal(rig_named(name), healthy_frames(name, seed, 1.0))[0] for seed in range(hours)]
        levels = {}
        for rival, (maker, thresholds) in RIVALS.items():
            for level in thresholds:
                if sum(len(maker(level).alarms(v)) for v in values) <= hours // 100:
                    break
            levels[rival] = level
        return levels

    return dict(kept.get(f"tuned {name} {hours}", make))


def one_delay(name: str, seed: int, amount: float, levels: dict[str, float]) -> dict[str, float]:
    run = fault_run(name, seed, "clog", amount=amount)
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames, [IDENTITY])
    out = {"swardflow": first_called(pipeline.faults(), run.at_s)}
    values, times, watch = signal(run.rig, run.frames)
    out["bound"] = lower_bound_s(watch.noise.white, amount / run.rig.nozzles.count)
    for rival, level in levels.items():
        hits = [times[place] - run.at_s for place in RIVALS[rival][0](level).alarms(values)]
        out[rival] = float(min([h for h in hits if h >= 0] + [CAP_S]))
    return out


def delays(size: dict[str, int], seed: int, kept: Kept) -> None:
    """Print the table of delays."""
    print("sudden clog of one nozzle: mean / 95 % in s (share missed after 25 s)")
    for place, name in enumerate(list(RIGS)[: size["rigs"]]):
        levels = tuned_rivals(name, size["tune_h"], kept) if place < size["rivals"] else {}
        print(f"\n{name}" + (f"; thresholds from {size['tune_h']} healthy hours: {levels}" if levels else ""))
        for amount in AMOUNTS:
            rows = [
                kept.get(
                    f"delay {name} {seed} {n} {amount}",
                    lambda n=n, a=amount: one_delay(name, JUDGING * seed + n, a, levels),  # noqa: B023
                )
                for n in range(size["trials"])
            ]
            line = f"  {amount:5.0%}"
            for key in ("bound", "swardflow", *levels):
                d = np.array([row[key] for row in rows])
                missed = f" ({np.mean(d >= CAP_S):.0%})" if key != "bound" and (d >= CAP_S).any() else ""
                line += f"  {key} {d.mean():.2f}/{np.quantile(d, 0.95):.2f}{missed}"
            print(line, flush=True)


def healthy(hours: int, seed: int, drift: float, kept: Kept) -> None:
    """Print false alarms over healthy hours."""
    total: Counter[str] = Counter()
    for n in range(hours):
        name = list(RIGS)[n % len(RIGS)]

        def make(name: str = name, n: int = n) -> list[list[Any]]:
            pipeline = Pipeline(rig_named(name))
            pipeline.push(healthy_frames(name, JUDGING * seed + n, 1.0, drift), [IDENTITY])
            return [[f.kind, f.called_s, f.ended_s, f.change] for f in pipeline.faults()]

        for kind, *_ in kept.get(f"healthy {seed} {drift} {n}", make):
            total[kind] += 1
    alarms = sum(total.values())
    low, high = poisson_interval(alarms)
    print(
        f"healthy hours {hours}, drift x{drift:g}: {alarms} false alarms = {100 * alarms / hours:.1f} per 100 h "
        f"(95 % {100 * low / hours:.1f} to {100 * high / hours:.1f}); {dict(total)}"
    )


def poisson_interval(count: int) -> tuple[float, float]:
    """95 % interval of a Poisson mean, Byar's approximation (Breslow, Day: Statistical Methods in Cancer Research)."""
    low = count * (1 - 1 / (9 * count) - 1.96 / (3 * math.sqrt(count))) ** 3 if count else 0.0
    more = count + 1
    return low, more * (1 - 1 / (9 * more) + 1.96 / (3 * math.sqrt(more))) ** 3


def causes(size: dict[str, int], seed: int, kept: Kept) -> None:
    """Print which cause was named, at the end of the pass, for each true one."""
    right = merged = cases = sure_wrong = 0
    for kind, exact, alike, amounts in CAUSES:
        named: Counter[str] = Counter()
        for name in list(RIGS)[: size["rigs"]]:
            for n in range(size["causes"]):
                for number, detail in enumerate(amounts):
                    if detail.get("nozzles", 1) >= RIGS[name][0]:
                        continue  # all nozzles clogged are a valve that is shut
                    found, sure = kept.get(
                        f"cause {kind} {name} {seed} {n} {number}",
                        lambda k=kind, m=name, n=n, d=detail: one_cause(k, m, JUDGING * seed + n, d),
                    )
                    named[found] += 1
                    cases += 1
                    right += found in exact
                    merged += found in exact + alike
                    sure_wrong += found not in exact and sure >= 0.9 and {found, *exact} <= {"clog", "meter_low"}
        print(f"  {kind:18} {dict(named.most_common())}", flush=True)
    print(
        f"{cases} faults: {right / cases:.1%} exactly right, {merged / cases:.1%} with look-alikes merged; clog and "
        f"meter-low mixed up and called sure: {sure_wrong}"
    )


def one_cause(kind: str, name: str, seed: int, detail: dict[str, Any]) -> tuple[str, float]:
    run = fault_run(name, seed, kind, **detail)
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames, [IDENTITY])
    since = [f for f in pipeline.faults() if f.called_s >= run.at_s]
    return (since[0].kind, since[0].sure) if since else ("nothing", 0.0)


def creep(size: dict[str, int], seed: int, kept: Kept) -> None:
    """Print when a clog that grows to a full one over ten minutes is called, and what it had cost by then."""
    for name in list(RIGS)[: size["rigs"]]:
        d = np.array(
            [
                kept.get(
                    f"creep {name} {seed} {n}",
                    lambda m=name, n=n: one_creep(m, JUDGING * seed + n),
                )
                for n in range(max(size["trials"] // 4, 3))
            ]
        )
        print(f"  {name}: called after {d.mean():.0f} s (95 % {np.quantile(d, 0.95):.0f} s), "
              f"at {d.mean() / 600:.0%} (95 % {np.quantile(d, 0.95) / 600:.0%}) of one nozzle")  # fmt: skip


def one_creep(name: str, seed: int) -> float:
    run = fault_run(name, seed, "clog", amount=1.0, over_s=600.0)
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames, [IDENTITY])
    called = [f.called_s - run.at_s for f in pipeline.faults() if f.called_s >= run.at_s]
    return min([*called, 600.0])


def main() -> None:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("part", nargs="*", default=["delays", "healthy", "drift", "causes", "creep"])
    parser.add_argument("--size", choices=list(SIZES), default="short")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--drift", type=float, default=3.0)
    parser.add_argument("--keep", type=Path, help="file of single results, read first and added to")
    args = parser.parse_args()
    size, kept = SIZES[args.size], Kept(args.keep)
    print("thresholds:", ", ".join(f"{name} {value}" for name, value in asdict(TUNING).items()))
    for part in args.part:
        if part == "delays":
            delays(size, args.seed, kept)
        elif part == "healthy":
            healthy(size["healthy_h"], args.seed, 1.0, kept)
        elif part == "drift":
            healthy(size["drift_h"], args.seed, args.drift, kept)
        elif part == "causes":
            causes(size, args.seed, kept)
        elif part == "creep":
            creep(size, args.seed, kept)
        else:
            parser.error(f"no part '{part}'")


if __name__ == "__main__":
    main()
