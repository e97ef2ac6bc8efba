"""Every command and what it is for, in the order of the job: what `swardflow --help` shows, with no command loaded."""

from __future__ import annotations

GROUPS: dict[str, dict[str, str]] = {
    "start": {
        "open": "open all pages: set up, plan, mix, start a run, look back; a board is not needed",
        "link": "show the links that open the pages, such as those of a service that started by itself",
        "ports": "list the boards that are plugged in: name, port, firmware, in use by which run",
        "settings": "show or change what is remembered: rig, port, sharing, units, page port, metrics",
        "service": "have this computer open the pages by itself when it is switched on (Linux)",
    },
    "set up": {
        "rig": "describe your sprayer, check its rig file, list those known",
        "bringup": "try a board on the bench: protocol, sensors, buzzer",
        "calibrate": "calibrate flow meter, pressure transducer, wheel, walking speed or boom; save a dated card",
        "plan": "find rate, speed, pressure and tips; size the pump",
        "mix": "how much product and water go into the tank for an area",
    },
    "spray": {
        "watch": "open all pages and record from a board at once",
        "record": "record from a board, without a page",
        "tell": "tell a running recorder: refill, mark, pause, resume, note, beep, stop; follow what it records",
        "join": "put the end of a run, saved elsewhere when the disk was full, behind its file",
    },
    "look back": {
        "review": "say what a recorded run did: passes, rate, area, health of the recording",
        "runs": "list and search the runs of a folder; add notes to one",
        "compare": "compare a run with the catch test of its rig, or with another run",
        "season": "what changed over a season: nozzles, meter, strainer, and when to calibrate",
        "report": "write the record of a run as one HTML page to print or keep",
    },
    "keep": {
        "backup": "keep runs, calibration cards, rigs and settings in one file",
        "restore": "put back what a backup holds and is missing here",
    },
    "data for other programs": {
        "export": "write a run's signals as CSV, Parquet or a spreadsheet",
        "dataset": "keep the runs of a folder as a Parquet dataset that pandas, DuckDB, Spark and Dask read as one",
        "schema": "JSON Schema of rig files or scenarios, for editors",
    },
    "try without hardware": {
        "demo": "an emulated sprayer, recorded and shown live: no hardware needed",
        "simulate": "an emulated sprayer on a pseudo-terminal, or straight into a run file",
        "replay": "play a recording again, out of a pseudo-terminal",
    },
}
COMMANDS = {name: about for commands in GROUPS.values() for name, about in commands.items()}
