"""Serve the pages: `python -m dashboards --runs FOLDER`."""

from __future__ import annotations

import argparse
import signal
import sys
from pathlib import Path

from host.errors import BadInputError, NotFoundError, UserError
from host.log import LOG, add_log_arguments, begin_log, end_log
from host.parent import end_with_parent

HERE = "127.0.0.1"


def build_parser() -> argparse.ArgumentParser:
    """The parser of the command line."""
    parser = argparse.ArgumentParser(
        prog="python -m dashboards", description="Serve Swardflow's pages to browsers on this computer."
    )
    parser.add_argument("--runs", type=Path, required=True, metavar="FOLDER", help="folder with the run files")
    parser.add_argument("--follow", default="latest", metavar="RUN", help="run to show live, or 'latest' (default)")
    parser.add_argument("--host", metavar="ADDRESS", help=f"own address to listen on, of this computer only ({HERE})")
    parser.add_argument(
        "--http-port", type=int, default=8050, metavar="N", help="port, 0 for any that is free (default %(default)s)"
    )
    parser.add_argument(
        "--share",
        action="store_true",
        help="open the pages to the local network: shows the address, a one-time code and a QR code."
        " Not encrypted (http): anyone on this network could read along (see dashboards/SHARING.md)",
    )
    parser.add_argument(
        "--look-only", action="store_true", help="phones that are let in may only look, until more is allowed"
    )
    parser.add_argument(
        "--sessions", type=Path, metavar="FILE", help="file that keeps who was let in when the pages are started again"
    )
    parser.add_argument("--open", action="store_true", help="open a browser on the pages")
    parser.add_argument("--name", default="", help="with --share: answer for NAME.local (default: swardflow)")
    parser.add_argument("--own-code", action="store_true", help="with --share: take the owner's own code, too")
    parser.add_argument("--metrics", action="store_true", help="answer programs with the key at /metrics")
    parser.add_argument("--supervisor", type=Path, metavar="SOCKET", help="who starts recorders (see host/cli/open.py)")
    parser.add_argument("--use-settings", action="store_true", help="go by the settings, and remember what is chosen")
    parser.add_argument("--emulated", default="", metavar="PORT", help="port of an emulated board to offer")
    parser.add_argument("--rig", type=Path, metavar="FILE", help="rig file of the emulated board")
    add_log_arguments(parser)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Serve until ended; 2 for a mistake the user can mend."""
    args = build_parser().parse_args(argv)
    _end_in_good_order()
    end_with_parent()
    try:
        begin_log(args, "pages")
        if not args.runs.is_dir():
            raise NotFoundError(f"--runs {args.runs}: there is no such folder; make it or give another")
        if args.share and args.host:
            raise BadInputError(
                f"--host {args.host}: --share listens on every address of this computer, leave --host out"
            )
        from dashboards.app import Sharing, serve
        from dashboards.context import Starting
        from dashboards.sharing.invitations import own_code
        from dashboards.sharing.metrics_key import metrics_key
        from dashboards.supervision import Supervisor
        from host.settings import metrics_key_path, own_code_path, settings_path

        names = (args.share, args.look_only, args.sessions, args.name)
        key = metrics_key(metrics_key_path()) if args.metrics else ""
        own = own_code(own_code_path()) if args.own_code and args.share else ""
        sharing = Sharing(args.host or HERE, args.http_port, *names, metrics_key=key, own_code=own)
        settings = settings_path() if args.use_settings else None
        starting = Starting(Supervisor(args.supervisor), settings, args.emulated, args.rig)
        return serve(args.runs, args.follow, sharing, starting, browse=args.open)
    except UserError as error:
        LOG.error("%s", error)
        return 2
    except KeyboardInterrupt:
        return 130
    finally:
        end_log()


def _end_in_good_order() -> None:
    """A signal that ends the process unwinds it first, so that nothing of it is left lying about.

    The server takes SIGTERM itself while it runs, closes, and then raises it again.
    """

    def end(number: int, _frame: object) -> None:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)  # it is under way
        raise SystemExit(128 + number)

    signal.signal(signal.SIGTERM, end)
    for name in ("SIGHUP", "SIGQUIT"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: signal.raise_signal(signal.SIGTERM))


if __name__ == "__main__":
    sys.exit(main())
