"""Ten hours as a DataFrame: `host.open_run(…).frame()` beside pandas reading the same lines.

Run: python -m tests.bench.bench_frame [HOURS]. Figures as in bench_review: processor seconds and memory of fresh
processes, medians; `read_csv` gets the raw lines as text and computes nothing.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.bench.bench_review import READ_CSV, make_run, measured

FRAME = """
import resource, sys, time
import host
import pandas, host.library.opened
begin = time.process_time()
frame = host.open_run(sys.argv[1]).frame()
print(time.process_time() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, len(frame))
"""


def main() -> None:
    """Print both and the ratio."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.sward"
        make_run(path, hours)
        frame_s, frame_mb = measured(FRAME, path)
        csv_s, csv_mb = measured(READ_CSV, path)
    print(
        f"{hours:g} hours: frame {frame_s:.2f} s, {frame_mb:.0f} MB; read_csv {csv_s:.2f} s, {csv_mb:.0f} MB; "
        f"ratio {frame_s / csv_s:.2f}"
    )


if __name__ == "__main__":
    main()
