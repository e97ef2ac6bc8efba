"""`swardflow record`: record from a port, with no page."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from host.cli.calibration_options import cards_named
from host.cli.shared_options import add_port_argument, add_rig_argument, add_runs_argument, port_named, rig_path
from host.errors import BadInputError, NotFoundError, UserError
from host.events import note_key
from host.log import LOG
from host.run_folder import DEFAULT_FOLDER, LATEST

NOT_IN_PLACE = 3  # exit code: the recording ended, and its file is not what was written

if TYPE_CHECKING:
    from host.recorder import Outcome, RunPlan
    from host.recorder.supervision import RunRequest
    from host.rig import Rig
    from host.settings import Settings


DESCRIPTION = "Records everything the board sends into a new run file. Ctrl-C ends the run in good order."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What the command takes."""
    add_record_arguments(parser)
    add_runs_argument(parser)
    parser.add_argument(
        "--take-over", action="store_true", help="if this port is being recorded from already, end that run first"
    )
    parser.add_argument("--report", type=Path, help=argparse.SUPPRESS)  # where who started it learns what became of it


def add_record_arguments(parser: argparse.ArgumentParser) -> None:
    """What is recorded, shared with `watch`."""
    add_port_argument(parser)
    add_rig_argument(parser, "what the sprayer is")
    parser.add_argument(
        "--tank",
        metavar="VOLUME",
        help='what is in the tank at the start, such as "8 gal" (default: the first load of the sheet, else full)',
    )
    parser.add_argument(
        "--sheet",
        dest="mix",
        type=Path,
        metavar="SHEET",
        help="mixing sheet that 'swardflow mix --out' wrote, or latest: the last one that the page Mix kept",
    )
    parser.add_argument(
        "--cards", type=Path, metavar="FOLDER", help="folder of calibration cards (default: cards in the runs folder)"
    )
    parser.add_argument(
        "--note", action="append", default=[], metavar="KEY=TEXT", help="note for the record, such as product=… area=…"
    )


def fill_in(args: argparse.Namespace, settings: Settings) -> None:
    """Take port and rig from the settings where the command line has none. Raises UserError when there is none."""
    args.port = port_named(args, settings.port)
    args.rig = rig_path(args, settings.rig)


def run_request(args: argparse.Namespace) -> RunRequest:
    """The run that the arguments ask for, for a recorder in a process of its own."""
    from host.recorder.supervision import RunRequest

    mix = str(args.mix) if args.mix else ""
    return RunRequest(args.port, str(args.rig), args.tank or "", mix, dict(note_of(text) for text in args.note))


def plan_of(args: argparse.Namespace) -> RunPlan:
    """What the arguments ask to be recorded.

    Raises UserError for a rig, a note or a volume that cannot be read.
    """
    from host.calibrate.cards import load_cards, snapshot
    from host.recorder import RunPlan
    from host.rig import filter_arguments, load_rig
    from host.rig.noted import check_note
    from host.units import parse_quantity

    rig = load_rig(args.rig)
    notes = dict(note_of(text) for text in args.note)
    for key, text in notes.items():
        check_note(key, text, rig)
    tank_m3 = parse_quantity(args.tank, "volume", "--tank") if args.tank else None
    runs = args.runs or DEFAULT_FOLDER
    cards = tuple(snapshot(load_cards(cards_named(args), rig.name)))
    mix_toml, load_m3 = ("", None) if args.mix is None else _mix_of(args.mix, rig, runs)
    if tank_m3 is None:
        tank_m3 = load_m3
    name = notes.get("area", rig.name)
    return RunPlan(runs, name, rig.toml, notes, cards, tank_m3, rig, filter_arguments(rig), mix_toml)


def _mix_of(path: Path, rig: Rig, runs: Path) -> tuple[str, float | None]:
    """Text of the mixing sheet and its first load in m³, once it has been read; None where it does not say.

    Raises UserError, also when it is of another sprayer.
    """
    from host.mix_sheet import sheet_from_toml
    from host.plan.sheet_file import kept_sheets
    from host.toml_text import read_text

    if path == Path(LATEST):
        kept = kept_sheets(runs)
        if not kept:
            raise NotFoundError(f"--sheet is latest, and no mixing sheet is kept in {runs}: keep one on the page Mix.")
        path = kept[0]
    where = f"mixing sheet {path}"
    text = read_text(path, where)
    sheet = sheet_from_toml(text, where)
    if sheet.rig != rig.name:
        raise BadInputError(f'{where} was made for the sprayer "{sheet.rig}": make one for {rig.name}.')
    return text, sheet.load_m3


def run(args: argparse.Namespace) -> int:
    """Record until stopped by Ctrl-C, SIGTERM or `swardflow tell RUN stop`."""
    try:
        return _record(args)
    except UserError as error:
        _report(args.report, error=str(error))
        raise


def _record(args: argparse.Namespace) -> int:
    import signal

    from host.parent import end_with_parent
    from host.recorder import Recorder
    from host.recorder.status_line import StatusLine
    from host.settings import Settings, load_settings

    fill_in(args, Settings() if args.report else load_settings())
    plan = plan_of(args)
    if args.take_over:
        end_recording_at(args.port)
    recorder = Recorder(args.port, plan)
    path = recorder.start(say=LOG.warning)
    for number, reason in _signals().items():
        signal.signal(number, lambda *_, reason=reason: recorder.stop(reason))
    end_with_parent()
    _report(args.report, run=str(path))
    LOG.info("recording %s", path)
    if new := _new_cards(plan, path):
        LOG.info("%s", new)
    with StatusLine(recorder.status):
        outcome = recorder.run()
    return _tell_end(outcome)


def _report(path: Path | None, **said: str) -> None:
    """Say what became of it where who started this looks; that the file cannot be written stops no recording."""
    import json
    from contextlib import suppress

    from host.whole_file import write_whole

    if path is not None:
        with suppress(OSError):
            write_whole(path, json.dumps(said).encode())


def _new_cards(plan: RunPlan, run: Path) -> str:
    from host.calibrate.cards import cards_of_run
    from host.calibrate.since_last_run import cards_of_last_run, new_cards_message

    before = cards_of_last_run(plan.folder, run, plan.rig.name) if plan.rig else None
    return new_cards_message(cards_of_run(plan.calibrations), before)


def end_recording_at(port: str) -> None:
    """End the run that is being recorded from `port`, if there is one, and wait until the port is free."""
    import time
    from pathlib import Path

    from host.errors import NoAnswerError
    from host.recorder.control import PATIENCE_S, ask, recorder_at

    other = recorder_at(port)
    if other is None or not other.get("run"):
        return
    ask(Path(str(other["run"])), {"ask": "stop", "reason": "another recording took over"})
    until = time.monotonic() + 4 * PATIENCE_S
    while recorder_at(port) is not None:
        if time.monotonic() > until:
            raise NoAnswerError(f"the recording of {other['run']} does not end: end process {other.get('pid')}")
        time.sleep(0.1)


def note_of(text: str) -> tuple[str, str]:
    """Key and value of a note given as KEY=TEXT.

    Raises UserError when it is not.
    """
    text = text.encode("utf-8", "replace").decode()  # bytes of another encoding come from the shell as no characters
    key, equals, value = text.partition("=")
    key = note_key(key)
    if not equals or not key:
        raise BadInputError(f"note '{text}' has no key: write it as KEY=TEXT, such as area='Lower green'")
    return key, value.strip()


def _signals() -> dict[int, str]:
    import signal

    reasons = {"SIGINT": "stopped from the keyboard", "SIGTERM": "told to end by the system"}
    reasons |= {"SIGHUP": "the terminal was closed", "SIGQUIT": "stopped from the keyboard", "SIGUSR1": "told to end"}
    return {getattr(signal, name): reason for name, reason in reasons.items() if hasattr(signal, name)}


def _tell_end(outcome: Outcome) -> int:
    damaged = f", {outcome.wire_damage} of them damaged on the way" if outcome.wire_damage else ""
    if outcome.in_place:
        LOG.info("recorded %s: %d lines%s", outcome.run, outcome.lines, damaged)
    if outcome.rest:
        LOG.error(
            'the disk is full and the end of the run lies in %s: make room, then run \'swardflow join "%s" "%s"\'',
            outcome.rest,
            outcome.run,
            outcome.rest,
        )
    if outcome.lines_lost:
        lost = f"{outcome.lines_lost} lines were lost while disk and memory were full"
        LOG.error("%s: make room before the next run", lost)
    for sentence in outcome.rescued:
        LOG.error("%s", sentence)
    if not outcome.in_place:
        LOG.error("%s is not as it was written: look for it before you record again", outcome.run)
        return NOT_IN_PLACE
    return 0  # the recording ended in good order: whoever started it must not start it again
