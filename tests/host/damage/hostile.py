"""Values and texts that nobody means, put in the place of good ones; what becomes of a command that is given them."""

from __future__ import annotations

import atexit
import copy
import io
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from host.cli.main import main

FEW, MANY = 60, 2_000

# Numbers at the edges of what can be written down, and quantities that are almost right.
_EDGES = [0, -1, 1, 2**31, 2**63, 10**40, -(10**400), 10**4299, 0.0, -0.0, 5e-324, 1e308, 1e-30, 12.5]
_AMOUNTS = ["0", "-1", "nan", "inf", "1e400", "1e-400", "½", "1,5", "1.5", "٣", "10**9", "1_000", "", "3 4"]
_UNITS = [
    "gal",
    "L",
    "psi",
    "bar",
    "gpm",
    "mph",
    "%",
    "in",
    "m",
    "Hz",
    "pulses/L",
    "s",
    "gal/acre",
    "K",
    "degC",
    "(",
    "^",
]
_WORDS = ["\0", "../../x", "x" * 500, "\x1b[2J", "\u202e", "<b>", "a\nb", "%s", "{}"]
_QUANTITIES = st.builds(lambda *parts: "".join(parts), *map(st.sampled_from, (_AMOUNTS, ["", " ", "\t"], _UNITS)))
_SIMPLE = (
    st.sampled_from(_EDGES)
    | st.integers()
    | _QUANTITIES
    | st.text(max_size=12)
    | st.sampled_from(_WORDS)
    | st.booleans()
)
_DATES = [datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, 23, 59, 59), date(2026, 5, 14), time(9, 15)]


def _nested(leaves: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.recursive(
        leaves,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=5,
    )


JSON_VALUES = _nested(_SIMPLE | st.none() | st.just("\ud800"))
TOML_VALUES = _nested(_SIMPLE | st.sampled_from([*_DATES, float("nan"), float("inf")]))


def places(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where in a tree of dicts and lists something stands."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        yield (*path, key)
        yield from places(value, (*path, key))


@st.composite
def distorted(draw: st.DrawFn, tree: dict[str, Any], values: st.SearchStrategy[Any]) -> dict[str, Any]:
    """`tree` with one to three of its values replaced, taken out, doubled, or put under another name."""
    result = copy.deepcopy(tree)
    for _ in range(draw(st.integers(1, 3))):
        found = list(places(result))
        if not found:
            break
        *above, last = draw(st.sampled_from(found))
        home = result
        for key in above:
            home = home[key]
        match draw(st.sampled_from(["replace", "replace", "replace", "remove", "rename", "double"])):
            case "remove":
                del home[last]
            case "rename" if isinstance(home, dict):
                home[draw(st.text(max_size=8))] = home.pop(last)
            case "double":
                home[last] = [home[last], home[last]]
            case _:
                home[last] = draw(values)
    return result


def scratch_folder() -> Path:
    """A folder for a whole module, gone when the tests end; Hypothesis does not make fixtures anew for each example."""
    folder = Path(tempfile.mkdtemp(prefix="swardflow-damage-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def few_and_many(check: Callable[..., None], *strategies: st.SearchStrategy[Any], few: int = FEW) -> tuple[Any, Any]:
    """`check` as a test of a few examples, and one of many behind the marker `soak`; both are the same every time."""

    def of(examples: int) -> Any:
        quiet = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.data_too_large]
        phases = (Phase.explicit, Phase.generate)  # to make a failing file smaller takes minutes
        same = {"derandomize": True, "database": None}
        rules = settings(max_examples=examples, deadline=None, suppress_health_check=quiet, phases=phases, **same)
        return rules(given(*strategies)(check))

    return of(few), pytest.mark.soak(pytest.mark.timeout(1800)(of(few * MANY // FEW)))


def one_sentence_or_an_answer(arguments: list[str | Path]) -> int:
    """Run a command in this process: 0 or 1 with an answer, or 2 with nothing but one sentence."""
    out, errors = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    with redirect_stdout(out), redirect_stderr(errors):
        code = main([str(one) for one in arguments])
    said, answered = (stream.buffer.getvalue().decode() for stream in (errors, out))
    assert code in (0, 1, 2)
    if code == 2:
        assert said.startswith("swardflow: ") and said.count("\n") == 1 and said.endswith("\n"), said
        assert len(said) < 1_000, said
    else:
        assert said == "" and answered
    return code
