"""`swardflow link`: the links that open the pages, wherever those were started."""

from __future__ import annotations

import argparse

from host.cli.shared_options import add_json_argument, print_answer

DESCRIPTION = (
    "Shows what the terminal of 'swardflow open' shows: the link for a browser on this computer, and "
    "on shared pages the address and code for a phone. Only for the user who runs the pages."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_json_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Show them."""
    from host.errors import NotNowError
    from host.page_links import open_links

    links = open_links()
    if not links:
        raise NotNowError("no pages of yours are open here: open them with 'swardflow open'")
    answer = {"pages": [{"port": port, "links": text.splitlines()} for port, text in links.items()]}
    print_answer(args, "\n\n".join(links.values()), answer)
    return 0
