"""No page sends anybody to a terminal or to a file: what people are told there, they can do there."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Commands and options, files and folders, and the places where those are typed.
NOT_ON_PAGES = re.compile(
    r"swardflow [a-z]|(?<![\w-])--[a-z]|\.toml\b|\.md\b|/cards\b|(?<!\w)~/|\bterminal\b|command line|python -m"
)
# Text that a terminal shows, or a browser never does: the page server's own command, its banner, names of files.
AT_A_TERMINAL = {"dashboards/__main__.py", "dashboards/sharing/terminal_banner.py"}
NO_TEXT = {"last-start.toml", "harrow-lea-pull-behind.toml"}
# Errors that only the options of a command can bring about.
AT_THE_START = {("dashboards/app.py", "_own_address"), ("dashboards/app.py", "_listen")}
OF_COMMANDS = ("host/cli/", "host/simulate/", "host/library/cluster.py")


def strings_of(node: ast.AST) -> Iterator[ast.Constant]:
    """Every text in a piece of code but its docstrings."""
    docstrings = {
        id(each.body[0].value)
        for each in ast.walk(node)
        if isinstance(each, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and each.body
        and isinstance(each.body[0], ast.Expr)
    }
    for each in ast.walk(node):
        if isinstance(each, ast.Constant) and isinstance(each.value, str) and id(each) not in docstrings:
            yield each


def sources(part: str, ending: str) -> list[str]:
    return [path.relative_to(ROOT).as_posix() for path in sorted((ROOT / part).rglob(f"*.{ending}"))]


def wrong_in(texts: Iterable[str]) -> list[str]:
    return [text for text in texts if NOT_ON_PAGES.search(text) and text not in NO_TEXT]


def wrong_by_file(names: list[str], texts_of: Callable[[str, str], Iterable[str]]) -> dict[str, list[str]]:
    """What is wrong in each file; `texts_of` is given its name and what it holds."""
    found = {name: wrong_in(texts_of(name, (ROOT / name).read_text(encoding="utf-8"))) for name in names}
    return {name: wrong for name, wrong in found.items() if wrong}


def page_texts(name: str, source: str) -> Iterator[str]:
    tree = ast.parse(source)
    at_start = {  # what keeps the server from starting is said where it was started
        id(text)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef) and (name, function.name) in AT_THE_START
        for text in strings_of(function)
    }
    yield from (str(text.value) for text in strings_of(tree) if id(text) not in at_start)


def messages_of(_: str, source: str) -> Iterator[str]:
    """What errors for people say: a page shows those of everything that it asks."""
    for raised in ast.walk(ast.parse(source)):
        call = raised.exc if isinstance(raised, ast.Raise) else None
        if isinstance(call, ast.Call) and getattr(call.func, "id", "").endswith("Error"):
            yield from (str(text.value) for text in strings_of(call))


def template_texts(_: str, source: str) -> list[str]:
    return re.sub(r"<style>.*?</style>|<[^>]*>|\{[{%#].*?[}%#]\}", " ", source, flags=re.S).splitlines()


def script_texts(_: str, source: str) -> Iterator[str]:
    code = re.sub(r"/\*.*?\*/|(?m:(?<![:\"'])//.*$)", "", source, flags=re.S)
    return (match[1] or match[2] for match in re.finditer(r"\"([^\"]*)\"|'([^']*)'", code))


def test_texts_of_pages() -> None:
    assert wrong_by_file([name for name in sources("dashboards", "py") if name not in AT_A_TERMINAL], page_texts) == {}


def test_texts_in_templates_and_scripts() -> None:
    assert wrong_by_file(sources("dashboards", "html"), template_texts) == {}
    assert wrong_by_file(sources("dashboards/assets", "js"), script_texts) == {}


def test_errors_that_a_page_may_show() -> None:
    names = [name for name in sources("host", "py") if not name.startswith(OF_COMMANDS)]
    assert wrong_by_file(names, messages_of) == {}


def test_the_check_finds_what_it_looks_for() -> None:
    bad = "raise NotFoundError(f\"no run in {x}: record one with 'swardflow record', or give --runs\")"
    assert len(wrong_in(messages_of("", bad))) == 1
    assert len(wrong_in(template_texts("", "<p>See the terminal.</p>"))) == 1
    assert len(wrong_in(script_texts("", 'say("give --share");  // not this'))) == 1
    assert wrong_in(["Swardflow is open", "a run-file", "mix--sheet", "Calibrate first."]) == []
