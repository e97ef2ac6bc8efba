"""`swardflow calibrate`: catches, readings and courses become calibration cards."""

from __future__ import annotations

import argparse
from pathlib import Path

from host.run_folder import cards_folder

_CAUTION = (
    "Calibrate with clean water only. Wear gloves; stop the pump and let the pressure off before you touch a nozzle, "
    "hose or strainer."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command and its kinds."""
    parser = commands.add_parser(
        "calibrate",
        help="calibrate flow meter, pressure transducer, wheel, pace or boom; keep the result on a dated card",
        description=f"Turns what you caught, read and timed into a dated calibration card. {_CAUTION}",
    )
    kinds = parser.add_subparsers(dest="kind", metavar="KIND", required=True)
    _meter(kinds)
    _pressure(kinds)
    _wheel(kinds)
    _course(kinds)
    _boom(kinds)
    cards = kinds.add_parser("cards", help="list the cards of a rig and say which are in force")
    _common(cards, saves=False)


def run(args: argparse.Namespace) -> int:
    """Calibrate; 1 when the result holds something to be looked at (an outlier, a finding, a fault)."""
    from host.cli.calibrating import calibrate

    return calibrate(args)


def _common(parser: argparse.ArgumentParser, saves: bool = True) -> None:
    parser.add_argument("--rig", type=Path, required=True, help="rig file (*.toml)")
    parser.add_argument("--cards", type=Path, default=cards_folder(), help="folder for cards (default: %(default)s)")
    parser.add_argument("--units", choices=("us", "metric"), help="units to show (default: the rig's)")
    parser.add_argument("--json", action="store_true", help="print JSON, with units in the keys")
    if saves:
        parser.add_argument("--no-card", action="store_true", help="only show the result, keep no card")


def _port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", help="guided, with live figures from the board at this serial port")


def _vessel(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--water", default="20 °C", metavar="TEMPERATURE", help="of weighed water (default: 20 °C)")
    parser.add_argument("--empty", metavar="WEIGHT", help="of the empty vessel (default: tared, 0 g)")
    parser.add_argument("--step", help='smallest step that you read, such as "10 mL" or "1 g"')
    parser.add_argument("--accuracy", help='how far the scale of the vessel may be off, such as "1 %%"')


def _meter(kinds: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = kinds.add_parser(
        "meter",
        help="flow meter: pulses against caught volume or weight",
        description="Spray into a bucket while the board counts; give each catch. Three repeats at each of two or "
        f"three flows are best. {_CAUTION}",
    )
    _common(parser)
    parser.add_argument(
        "--catch",
        action="append",
        nargs="+",
        default=[],
        metavar="VALUE",
        help='PULSES AMOUNT [TIME], such as: --catch 1043 "2.31 L" "55 s"; AMOUNT may be a weight. Repeat it.',
    )
    parser.add_argument(
        "--stretch",
        action="append",
        nargs=4,
        default=[],
        metavar=("RUN", "FROM", "TO", "AMOUNT"),
        help="pulses from a stretch of a recorded run, between two of its marks or times in s",
    )
    parser.add_argument(
        "--tank-balance",
        nargs="+",
        metavar="VALUE",
        help='FILLED LEFT PULSES [TIME]: one more point, such as: --tank-balance "50 L" "12 L" 17100',
    )
    _vessel(parser)
    _port(parser)


def _pressure(kinds: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = kinds.add_parser(
        "pressure",
        help="pressure transducer: counts against a gauge",
        description=f"Read the counts with the pump off, then at one or more pressures on a gauge. {_CAUTION}",
    )
    _common(parser)
    parser.add_argument("--zero", action="append", default=[], metavar="COUNTS", help="counts with the pump off")
    parser.add_argument(
        "--point", action="append", nargs=2, default=[], metavar=("PRESSURE", "COUNTS"), help="counts at a pressure"
    )
    parser.add_argument("--full-scale", default="1023", metavar="COUNTS", help="counts at full supply (default: 1023)")
    parser.add_argument("--gauge-step", metavar="PRESSURE", help="smallest step read from the gauge (default: 1 psi)")
    parser.add_argument("--gauge-accuracy", metavar="PRESSURE", help="how far the gauge may be off (default: 1 psi)")
    _port(parser)


def _wheel(kinds: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = kinds.add_parser("wheel", help="wheel: pulses over a measured course")
    _common(parser)
    parser.add_argument("--course", required=True, metavar="LENGTH", help='measured course, such as "200 ft"')
    parser.add_argument("--pulses", nargs="+", default=[], metavar="N", help="pulses of each pass")
    _port(parser)


def _course(kinds: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = kinds.add_parser("course", help="pace without a wheel: times over a measured course")
    _common(parser)
    parser.add_argument("--course", required=True, metavar="LENGTH", help='measured course, such as "200 ft"')
    parser.add_argument("--times", nargs="+", default=[], metavar="TIME", help='time of each pass, such as "55 s"')
    parser.add_argument("--guided", action="store_true", help="time each pass here: Enter at each mark of the course")


def _boom(kinds: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = kinds.add_parser(
        "boom",
        help="catch test of the boom: what each nozzle gives",
        description=f"Catch every nozzle for the same time at a steady pressure; two pressures tell more. {_CAUTION}",
    )
    _common(parser)
    parser.add_argument(
        "--catch",
        action="append",
        nargs="+",
        default=[],
        metavar="VALUE",
        help='PRESSURE TIME AMOUNT AMOUNT …, one amount per nozzle, such as: --catch "40 psi" "55 s" "1300 mL" …',
    )
    _port(parser)
    parser.add_argument("--guided", action="store_true", help="guided and timed here, without a board")
    parser.add_argument("--speed", help='spraying speed, such as "2.5 mph" (default: that of the rig\'s course)')
    _vessel(parser)
