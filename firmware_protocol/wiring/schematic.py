"""The schematic: sensors left, board in the middle, outputs right, supply and pump below."""

from __future__ import annotations

from typing import NamedTuple

from firmware_protocol.wiring.svg import Sheet

_ABOUT = (
    "Flow meter, wheel sensor, pressure transducer, spray switch and spray valve with pull-ups, filters and clamps on "
    "the left, the board in the middle, computer, light and buzzer on the right, supply from the pump battery and the "
    "pump's own protection below. All parts stand in the list of WIRING.md."
)
_BOARD_X = 760


class Chain(NamedTuple):
    """From a sensor to its pin: pull-up (if any), series resistor, capacitor, clamp; the pin as drawn."""

    pull: str
    series: str
    cap: str
    clamp: str
    pin: str


def schematic() -> str:
    """The drawing as SVG."""
    sheet = Sheet(1240, 1200, "Schematic: sensors, board, supply and pump", _ABOUT)
    sheet.box(_BOARD_X, 60, 200, 760)
    sheet.text(_BOARD_X + 100, 86, "8-bit board, 5 V, 16 MHz", "middle", "t")
    sheet.text(_BOARD_X + 100, 106, "(ATmega328P)", "middle")
    _sensor(
        sheet, 170, ("Flow meter", "hall effect", "open collector"), "+5 V S", Chain("R1", "R2", "C1", "D7", "8  (PB0)")
    )
    _sensor(
        sheet,
        340,
        ("Wheel sensor", "hall effect", "open collector"),
        "+5 V S",
        Chain("R3", "R4", "C2", "D8", "2  (PD2)"),
    )
    _sensor(sheet, 500, ("Pressure", "transducer", "0.5–4.5 V"), "+5 V P", Chain("", "R5", "C3", "D9", "A0  (PC0)"))
    _switch(sheet, 670)
    _valve(sheet, 800)
    _outputs(sheet)
    _supply(sheet, 1080)
    _sensor_supply(sheet)
    _pump(sheet, 960)
    return str(sheet)


def _input(sheet: Sheet, y: float, chain: Chain) -> None:
    end = sheet.across(430, y, chain.series)
    sheet.wire((end, y), (_BOARD_X, y))
    sheet.dot(590, y)
    sheet.ground(590, sheet.capacitor(590, y, chain.cap))
    sheet.dot(655, y)
    sheet.rail(655, sheet.diode_up(655, y, chain.clamp), "+5 V")
    sheet.text(_BOARD_X + 8, y + 5, chain.pin, style="t")


def _sensor(sheet: Sheet, y: float, names: tuple[str, ...], rail: str, chain: Chain) -> None:
    sheet.box(40, y - 50, 150, 100, *names)
    sheet.wire((190, y - 30), (240, y - 30))
    sheet.rail(240, y - 30, rail)
    sheet.wire((190, y + 34), (226, y + 34), (226, y + 42))
    sheet.ground(226, y + 42)
    sheet.wire((190, y), (430, y))
    sheet.text(196, y - 5, "signal")
    if chain.pull:
        sheet.rail(340, y - 70, rail)
        sheet.wire((340, sheet.down(340, y - 70, chain.pull)), (340, y))
        sheet.dot(340, y)
    _input(sheet, y, chain)


def _switch(sheet: Sheet, y: float) -> None:
    sheet.text(60, y - 26, "Spray switch, or")
    sheet.text(60, y - 10, "Q2 where a valve is fitted")
    sheet.wire((226, y + 22), (226, y), (190, y))
    sheet.ground(226, y + 22)
    for x in (190, 120):
        sheet.dot(x, y)
    sheet.path(f"M190,{y}L138,{y + 18}")
    sheet.wire((120, y), (60, y), (60, y + 56), (340, y + 56), (340, y))
    sheet.wire((340, y), (430, y))
    sheet.rail(340, y - 70, "+5 V")
    sheet.wire((340, sheet.down(340, y - 70, "R6")), (340, y))
    sheet.dot(340, y)
    sheet.dot(340, y + 56)
    _input(sheet, y, Chain("R6", "R7", "C4", "D10", "4  (PD4)"))


def _valve(sheet: Sheet, y: float) -> None:
    sheet.box(40, y - 26, 110, 60, "Spray valve", "12 V")
    sheet.wire((150, y), (190, y))
    sheet.dot(170, y)
    sheet.wire((170, y), (170, y + 20))
    sheet.wire((170, y + 56), (170, y + 60))
    sheet.diode_up(170, y + 56, "D12")
    sheet.ground(170, y + 60)
    sheet.wire((95, y + 34), (95, y + 60))
    sheet.ground(95, y + 60)
    end = sheet.across(190, y, "R10")
    sheet.wire((end, y), (340, y))
    sheet.dot(300, y)
    sheet.ground(300, sheet.down(300, y, "R11"))
    sheet.wire((340, y), (440, y))
    sheet.dot(380, y)
    sheet.wire((380, y), (380, y + 20))
    sheet.diode_up(380, y + 56, "D11")
    sheet.ground(380, y + 56)
    collector, emitter = sheet.transistor(440, y, "Q2")
    sheet.ground(*emitter)
    sheet.wire(collector, (collector[0], y - 74), (340, y - 74))


def _outputs(sheet: Sheet) -> None:
    right = _BOARD_X + 200
    sheet.wire((right, 150), (1040, 150))
    sheet.text(right - 8, 155, "USB", "end", "t")
    sheet.box(1040, 120, 170, 60, "Computer", "USB: data and ground")
    sheet.text(right - 8, 255, "(PD6)  6", "end", "t")
    end = sheet.diode_right(sheet.across(right, 250, "R8"), 250, "D3", label=False)
    sheet.path("M1046,236l10,-10m-6,0h6v6M1056,242l10,-10m-6,0h6v6")
    sheet.text(1050, 276, "D3 5 cd, light", "middle")
    sheet.wire((end, 250), (1130, 250), (1130, 262))
    sheet.ground(1130, 262)
    y = 480
    sheet.text(right - 8, y + 5, "(PD5)  5", "end", "t")
    end = sheet.across(right, y, "R9")
    sheet.dot(end, y)
    sheet.ground(end, sheet.down(end, y, "R12"))
    sheet.wire((end, y), (end + 40, y))
    collector, emitter = sheet.transistor(end + 40, y, "Q1")
    sheet.ground(*emitter)
    x = collector[0]
    sheet.box(x - 35, 350, 70, 60, "Buzzer", "5 V")
    sheet.wire(collector, (x, 410))
    sheet.wire((x, 350), (x, 320))
    sheet.rail(x, 320, "+5 V")
    for at in (335, 430):
        sheet.dot(x, at)
    sheet.wire((x, 430), (x + 60, 430), (x + 60, 400))
    sheet.wire((x + 60, sheet.diode_up(x + 60, 400, "D4")), (x + 60, 335), (x, 335))
    for y, name in ((640, "5V"), (720, "GND")):
        sheet.text(right - 8, y + 5, name, "end", "t")
    sheet.wire((right, 640), (1010, 640))
    sheet.rail(1010, 640, "+5 V")
    sheet.wire((right, 720), (1010, 720), (1010, 728))
    sheet.ground(1010, 728)


def _sensor_supply(sheet: Sheet) -> None:
    for x, mark, name in ((1060, "F3", "+5 V S"), (1150, "F4", "+5 V P")):
        sheet.rail(x, 610, "+5 V")
        end = sheet.down(x, 610, mark)
        sheet.path(f"M{x},{end}v10M{x - 8},{end + 10}h16")
        sheet.text(x, end + 26, name, "middle")
    sheet.text(1150, 720, "flow meter, wheel", "middle")
    sheet.text(1150, 738, "(S), transducer (P)", "middle")


def _pump(sheet: Sheet, y: float) -> None:
    end = sheet.across(230, y, "F1")
    sheet.wire((end, y), (340, y))
    sheet.box(340, y - 22, 110, 44, "Pump switch")
    sheet.wire((450, y), (640, y))
    sheet.dot(490, y)
    sheet.wire((490, y), (490, y + 4))
    sheet.diode_up(490, y + 40, "D5")
    sheet.ground(490, y + 40)
    sheet.dot(590, y)
    sheet.ground(590, sheet.capacitor(590, y, "C7"))
    sheet.box(690, y - 22, 110, 44, "Pump motor")
    sheet.wire((640, y), (690, y))
    sheet.wire((800, y), (825, y), (825, y + 28))
    sheet.ground(825, y + 28)
    sheet.text(850, y - 4, "D5 and C7 at the motor's own terminals;")
    sheet.text(850, y + 14, "F1 and F2 a hand's width from the battery")


def _supply(sheet: Sheet, y: float) -> None:
    sheet.box(40, y - 30, 120, 120, "Battery", "12 V")
    sheet.text(150, y + 5, "+", "end", "t")
    sheet.text(150, y + 78, "−", "end", "t")
    sheet.wire((160, y), (210, y))
    sheet.dot(190, y)
    sheet.wire((190, y), (190, y - 120), (230, y - 120))
    sheet.wire((160, y + 72), (190, y + 72), (190, y + 80))
    sheet.ground(190, y + 80)
    sheet.text(210, y + 98, "one ground point, at the battery's negative pole")
    end = sheet.across(210, y, "F2")
    sheet.wire((end, y), (end + 50, y))
    end = sheet.diode_right(end + 50, y, "D1")
    sheet.wire((end, y), (470, y))
    sheet.dot(400, y)
    sheet.wire((400, y), (400, y + 14))
    sheet.diode_up(400, y + 50, "D2")
    sheet.ground(400, y + 50)
    end = sheet.coil(470, y, "L1")
    sheet.wire((end, y), (640, y))
    sheet.dot(560, y)
    sheet.ground(560, sheet.capacitor(560, y, "C5"))
    sheet.box(640, y - 32, 130, 64, "U1 regulator", "5 V, 1 A")
    sheet.wire((705, y + 32), (705, y + 46))
    sheet.ground(705, y + 46)
    sheet.wire((770, y), (880, y))
    sheet.dot(810, y)
    sheet.ground(810, sheet.capacitor(810, y, "C6"))
    for x in (880, 920):
        sheet.dot(x, y)
    sheet.path(f"M880,{y}a20,16 0 0 1 40,0")
    sheet.text(900, y - 24, "JP1 closed", "middle")
    sheet.wire((920, y), (1130, y))
    sheet.dot(960, y)
    sheet.ground(960, sheet.capacitor(960, y, "C8"))
    sheet.dot(1060, y)
    sheet.wire((1060, y), (1060, y + 14))
    sheet.diode_up(1060, y + 50, "D6")
    sheet.ground(1060, y + 50)
    sheet.rail(1130, y, "+5 V")
