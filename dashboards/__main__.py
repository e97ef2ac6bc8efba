"""Serve the pages: `python -m dashboards --runs FOLDER`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from host.errors import UserError


def main(argv: list[str] | None = None) -> int:
    """Serve until ended; 2 for a mistake the user can mend."""
    parser = argparse.ArgumentParser(
        prog="python -m dashboards", description="Serve Swardflow's pages to browsers on this computer."
    )
    parser.add_argument("--runs", type=Path, required=True, metavar="FOLDER", help="folder with the run files")
    parser.add_argument("--follow", default="latest", metavar="RUN", help="run to show live, or 'latest' (default)")
    parser.add_argument("--host", default="127.0.0.1", help="own address to listen on (default %(default)s)")
    parser.add_argument("--port", type=int, default=8050, help="port, 0 for any that is free (default %(default)s)")
    args = parser.parse_args(argv)
    try:
        if not args.runs.is_dir():
            raise UserError(f"--runs {args.runs}: there is no such folder; make it or give another")
        from dashboards.app import serve

        return serve(args.runs, args.follow, args.host, args.port)
    except UserError as error:
        print(f"swardflow: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
