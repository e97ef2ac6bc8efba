"""The options of a kind of calibration: where the parsed arguments keep them, and how they are used."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host.calibrate.kinds.kind import Field, Way


def way_key(way: Way) -> str:
    """Where the parsed arguments keep the points of a way."""
    return f"way {way.name}"


def setting_key(field: Field) -> str:
    """Where the parsed arguments keep a setting."""
    return f"setting {field.name}"


def usage(way: Way) -> str:
    """What follows the option of a way: PULSES AMOUNT [TIME], such as: --catch 1043 "78 fl oz" "55 s"."""
    names, examples = [], []
    for field in way.fields:
        name = field.name.upper() + (" …" if field.each_nozzle or way.each else "")
        names.append(name if field.required else f"[{name}]")
        examples.append(f'"{field.us}"' if " " in field.us else field.us)
    return f"{' '.join(names)}, such as: --{way.option} {' '.join(examples)}"
