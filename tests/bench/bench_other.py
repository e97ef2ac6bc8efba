"""The fault watch on other sprayers than the simulator's. Run: python -m tests.bench.bench_other [PART]

PART is one of
  quiet     false alarms over healthy hours on each physics of other_runs, nobody doing anything unusual
  operator  the same with somebody who stands, lets go of the trigger, turns the knob, and with bubbles
  starts    false alarms in the first three minutes of short runs
  delays    seconds from a sudden clog to the first word and to the sound, mean and 95 %
  causes    confusion of causes, and how often what was said to be sure was right
  early     what comes in the first 22 s, while the boom is only being learned
  slow      half a nozzle more or less in 30 minutes, and a zero that drifts
A false alarm is one that makes a sound; words without a sound are counted beside it. Seeds of judging (`--seed` 1 and
up) never meet those of tuning (0).
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from dataclasses import asdict
from typing import Any

import numpy as np

from host.pipeline import Fault, Pipeline
from host.pipeline.faults.causes import CAUSES as OF_WATCH
from host.pipeline.faults.tuning import TUNING
from tests.bench.bench_faults import poisson_interval
from tests.bench.other_runs import CAUSES, EARLY, PHYSICS, early_run, fault_run, quiet_run, slow_run
from tests.bench.other_sprayer import Run
from tests.host.pipeline.made import IDENTITY

JUDGING = 100_000
RUN_S = 1800.0
START_S = 180.0


def faults_of(run: Run) -> list[Fault]:
    pipeline = Pipeline(run.rig)
    pipeline.push(run.frames, [IDENTITY])
    return pipeline.faults()


def healthy(hours: float, seed: int, *, person: bool) -> None:
    """Print false alarms on each physics."""
    sounds = passes = 0
    sprayed_s = 0.0
    for physics in PHYSICS:
        loud: Counter[str] = Counter()
        soft: Counter[str] = Counter()
        here_s = 0.0
        for n in range(max(round(hours * 3600 / RUN_S / len(PHYSICS)), 1)):
            run = quiet_run(physics, seed * JUDGING + n, RUN_S, person=person)
            here_s += run.spraying_s
            passes += len(run.passes)
            for fault in faults_of(run):
                (loud if fault.urgent else soft)[fault.kind] += 1
        sounds, sprayed_s = sounds + sum(loud.values()), sprayed_s + here_s
        print(f"  {physics:24} {here_s / 3600:4.1f} h  sound {dict(loud)}  word {dict(soft)}", flush=True)
    low, high = (100 * 3600 * x / sprayed_s for x in poisson_interval(sounds))
    who = "operator" if person else "quiet"
    print(f"{who}: {sounds} false alarms in {sprayed_s / 3600:.0f} h and {passes} passes: "
          f"{100 * 3600 * sounds / sprayed_s:.1f} per 100 h (95 % {low:.1f} to {high:.1f})")  # fmt: skip


def starts(count: int, seed: int) -> None:
    """Print false alarms in short runs, half of them with passes of some seconds."""
    loud: Counter[str] = Counter()
    for n in range(count):
        physics = list(PHYSICS)[n % len(PHYSICS)]
        run = quiet_run(physics, seed * JUDGING + 50_000 + n, START_S, short=n % 2 == 0)
        loud.update(f"{fault.kind} ({physics})" for fault in faults_of(run) if fault.urgent)
    low, high = (100 * x / count for x in poisson_interval(sum(loud.values())))
    print(f"starts: {sum(loud.values())} false alarms in {count} runs of 3 min "
          f"(95 % {low:.2f} to {high:.2f} per 100): {dict(loud)}")  # fmt: skip


def delays(trials: int, seed: int) -> None:
    """Print first word and sound after a sudden clog."""
    rigs = {
        "3 x 450/L, 100 ms": {"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 450.0},
        "3 x 450/L, 50 ms": {"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 450.0, "interval_s": 0.05},
        "8 x 450/L, 100 ms": {"nozzles": 8, "nozzle_gpm": 0.2, "per_litre": 450.0},
        "3 x 2000/L, 100 ms": {"nozzles": 3, "nozzle_gpm": 0.3, "per_litre": 2000.0},
    }
    for name, physics in rigs.items():
        for amount in (1.0, 0.5, 0.25, 0.1):
            words, sounds, missed, silent = [], [], 0, 0
            for n in range(trials):
                one = fault_run(physics, seed * JUDGING + n, "clog", amount=amount)
                called = [fault for fault in faults_of(one.run) if -0.1 <= fault.called_s - one.at_s < 25.0]
                missed += not called
                words += [called[0].called_s - one.at_s] if called else []
                heard = [fault for fault in called if fault.urgent][:1]
                sounds += [(fault.heard_s or fault.called_s) - one.at_s for fault in heard]
                silent += bool(called) and not heard
            word, sound = (f"{np.mean(d):.2f}/{np.quantile(d, 0.95):.2f}" for d in (words, sounds))
            print(f"  {name:20} {amount:4.0%}  word {word}  sound {sound}  missed {missed}/{trials}, "
                  f"without a sound {silent}", flush=True)  # fmt: skip


def causes(trials: int, seed: int) -> None:
    """Print what each disturbance is called in the end, over sprayers with a transducer before and behind the valve."""
    sure: defaultdict[str, list[bool]] = defaultdict(list)
    exact_count = merged = total = doubled = silent = 0
    for kind, exact, alike, sizes in CAUSES:
        named: Counter[str] = Counter()
        for n in range(trials):
            physics: dict[str, Any] = [{}, {"behind_valve": True}, {"interval_s": 0.05}, {"set_psi": 22.0}][n % 4]
            for size in sizes:
                one = fault_run(physics, seed * JUDGING + n, kind, **size)
                found = [fault for fault in faults_of(one.run) if fault.called_s >= one.at_s - 0.2]
                name = found[0].kind if found else "nothing"
                named[name] += 1
                total, doubled = total + 1, doubled + (len(found) > 1)
                exact_count, merged = exact_count + (name in exact), merged + (name in exact + alike)
                silent += bool(found) and OF_WATCH[exact[0]].urgent and not any(fault.urgent for fault in found)
                if found:
                    for level in (0.9, 0.99):
                        if found[0].sure >= level:
                            sure[f"{level}"].append(name in exact)
        print(f"  {kind:18} {dict(named.most_common())}", flush=True)
    said = ", ".join(f"sure {at}: {np.mean(right):.1%} of {len(right)} right" for at, right in sure.items())
    print(
        f"{total} faults: {exact_count / total:.1%} exact, {merged / total:.1%} merged, {doubled} doubled, "
        f"{silent} of what is urgent without a sound; {said}"
    )


def early(trials: int, seed: int) -> None:
    """Print what becomes of a fault that comes while the boom is being learned, by the seconds since the flow began."""
    intervals = (0.02, 0.05, 0.1, 0.5, 1.0)
    came: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for kind, exact, alike, amount in EARLY:
        for n in range(trials):
            one = early_run({"interval_s": intervals[n % len(intervals)]}, seed * JUDGING + n, kind, amount)
            found = [fault for fault in faults_of(one.run) if -0.2 <= fault.called_s - one.at_s < 25.0]
            name = found[0].kind if found else ""
            word = "exact" if name in exact else "look-alike" if name in alike else "another" if name else "not called"
            after_s = one.at_s - 4.0
            came["2.5 to 5 s" if after_s < 5.0 else "5 to 10 s" if after_s < 10.0 else "10 to 22 s"][word] += 1
    for when, counts in sorted(came.items()):
        print(f"  {when:10} after the flow began: {dict(counts)}", flush=True)


def slow(trials: int, seed: int) -> None:
    """Print when a slow change is called."""
    for kind, amount in (("clog", 0.5), ("wear", 0.5), ("zero", 3.0), ("zero", -3.0), ("nothing", 0.0)):
        after: list[float] = []
        named: Counter[str] = Counter()
        for n in range(trials):
            one = slow_run(seed * JUDGING + n, kind, amount)
            found = [fault for fault in faults_of(one.run) if fault.called_s >= one.at_s - 0.2]
            named["/".join((found[0].kind, *found[0].or_else)) if found else "nothing"] += 1
            after += [found[0].called_s - one.at_s] if found else []
        within = sum(x <= 900.0 for x in after) / trials
        mean = f", after {np.mean(after):.0f} s on average" if after else ""
        print(f"  {kind} {amount:+.1f} in 30 min: {within:.0%} within 15 min{mean}; {dict(named)}", flush=True)


def main() -> None:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parts = ["quiet", "operator", "starts", "delays", "causes", "early", "slow"]
    parser.add_argument("part", nargs="*", default=parts)
    parser.add_argument("--hours", type=float, default=20.0)
    parser.add_argument("--starts", type=int, default=200)
    parser.add_argument("--trials", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print("thresholds:", ", ".join(f"{name} {value}" for name, value in asdict(TUNING).items()))
    for part in args.part:
        if part in ("quiet", "operator"):
            healthy(args.hours, args.seed, person=part == "operator")
        elif part == "starts":
            starts(args.starts, args.seed)
        elif part in parts:
            {"delays": delays, "causes": causes, "early": early, "slow": slow}[part](args.trials, args.seed)
        else:
            parser.error(f"no part '{part}'")


if __name__ == "__main__":
    main()
