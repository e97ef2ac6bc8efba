"""Which versions of other packages are allowed, and which are tested."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
_WITH_LOWEST = re.compile(r"([\w-]+)(?:\[\w+\])?>=([\d.]+)")


def test_the_lowest_versions_that_ci_installs_are_those_that_pyproject_allows():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    users = [*project["dependencies"], *(line for name in extras.keys() - {"test", "bench"} for line in extras[name])]
    bounds = {f"{found[1]}=={found[2]}" for line in users if (found := _WITH_LOWEST.match(line))}
    # swardflow[parquet] is the one that names an extra of its own.
    assert len(bounds) == len({line for line in users if not line.startswith("swardflow[")})
    assert set((ROOT / ".ci/lowest.txt").read_text(encoding="utf-8").split()) == bounds
