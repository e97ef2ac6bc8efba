"""How commands print a document."""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host.documents.document import Document


def add_output_arguments(parser: argparse.ArgumentParser) -> None:
    """`--all` and `--json`."""
    parser.add_argument("--all", action="store_true", help="print what the page folds away, too")
    parser.add_argument("--json", action="store_true", help="print JSON, with units in the keys")


def print_document(document: Document, args: argparse.Namespace) -> None:
    """Print it as `args` from `add_output_arguments` ask, lines broken at the width of the terminal if it is one."""
    from host.documents.json import to_json
    from host.documents.text import format_text

    if args.json:
        print(json.dumps(to_json(document), indent=2, allow_nan=False))
    else:
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
        print(format_text(document, width, everything=args.all))
        if document.folded and not args.all:
            print(f"\n--all prints more: {', '.join(document.folded)}")
