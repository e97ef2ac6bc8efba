"""Command lines that `--help` shows with each command. A test parses every one of them."""

from __future__ import annotations

EXAMPLES: dict[str, tuple[str, ...]] = {
    "open": ("swardflow open", "swardflow open --runs ~/lawn-runs --share", "swardflow open --scenario demo"),
    "link": ("swardflow link",),
    "ports": ("swardflow ports", "swardflow ports --no-ask"),
    "service": ("swardflow service", "swardflow service --install", "swardflow service --udev"),
    "settings": ("swardflow settings", "swardflow settings page_port=8051 share=yes", "swardflow settings port="),
    "demo": ("swardflow demo",),
    "rig": ("swardflow rig new", "swardflow rig check my.toml"),
    "bringup": (
        "swardflow bringup --port /dev/ttyUSB0",
        "swardflow bringup --port /dev/ttyUSB0 --no-hands --rig my.toml",
    ),
    "calibrate": (
        "swardflow calibrate meter --rig my.toml --port /dev/ttyUSB0",
        "swardflow calibrate cards --rig my.toml",
    ),
    "plan": ('swardflow plan rate --rig my.toml --speed "2.5 mph"', "swardflow plan pump --rig my.toml"),
    "mix": ('swardflow mix --rig my.toml --product "1.5 fl oz/1000 ft2" --area "60 ft x 25 ft"',),
    "watch": ('swardflow watch --port /dev/ttyUSB0 --rig my.toml --note area="back lawn"',),
    "record": ("swardflow record --port /dev/ttyUSB0 --rig my.toml",),
    "tell": (
        'swardflow tell latest mark "gate post"',
        'swardflow tell latest refill "5 gal"',
        "swardflow tell latest stop",
        "swardflow tell latest follow",
    ),
    "join": ("swardflow join run.sward run.sward.rest",),
    "review": (
        "swardflow review latest",
        "swardflow review example",
        "swardflow review latest --json",
        "swardflow review latest --recalibrated",
    ),
    "runs": ("swardflow runs --site lawn --from 2026-04-01", 'swardflow runs --note latest "tank left=2 gal"'),
    "compare": ("swardflow compare latest",),
    "season": ("swardflow season --from 2026-03-01", "swardflow season --out season.html"),
    "report": ("swardflow report latest --out record.html",),
    "backup": ("swardflow backup --out /media/stick", "swardflow backup --out lawns.zip --runs ~/lawn-runs"),
    "restore": ("swardflow restore lawns.zip --look", "swardflow restore lawns.zip"),
    "dataset": ("swardflow dataset --out all-rigs",),
    "export": (
        "swardflow export latest --out run.csv",
        "swardflow export latest --out run.parquet --units si",
        "swardflow export latest --out - > run.csv",
    ),
    "replay": ("swardflow replay latest --speed 4 --link /tmp/board",),
    "simulate": ("swardflow simulate --list", "swardflow simulate demo --link /tmp/board"),
    "schema": ("swardflow schema rig --out rig.schema.json",),
}
