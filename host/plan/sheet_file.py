"""Mixing sheets kept as files: written from a mix, given to the run in which they are sprayed."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import tomli_w

from host.errors import NotSavedError
from host.mix_sheet import amount_text
from host.plan.mix_form import Job, Sheet
from host.plan.products import Product
from host.run_folder import file_names, make_folder
from host.units import format_value

FOLDER, SUFFIX = "mixes", ".toml"  # in the folder of runs


def sheet_toml(job: Job, sheet: Sheet, made: datetime) -> str:
    """The text of the file: see `host.mix_sheet`."""
    rate = job.mix.rate_m3_m2
    tree: dict[str, Any] = {
        "rig": job.rig.name,
        "made": made.isoformat(timespec="seconds"),
        "rate": format_value(rate, "rate", job.rig.units),
        "load": f"{1e3 * job.mix.loads[0].volume_m3:.6g} L",
        **{name: text for name in ("area", "tank", "place") if (text := (sheet.job.get(name) or "").strip())},
        "product": [_product(product, job) for product in job.mix.products],
    }
    return tomli_w.dumps(tree)


def _product(product: Product, job: Job) -> dict[str, str]:
    dry = product.form == "dry"
    per_volume = product.per_volume(job.mix.rate_m3_m2)
    told = {"name": product.name, "dose": job.doses[product.name], "strength": amount_text(per_volume, dry, "volume")}
    if product.family:
        told["kind"] = product.family
    for name, limit in (("most", product.most), ("season", product.most_per_season)):
        if limit is not None:
            told[name] = amount_text(limit, dry, "area")
    return told


def keep_sheet(runs: Path, job: Job, sheet: Sheet, made: datetime) -> Path:
    """Write the sheet into the folder of sheets of a folder of runs, and return its path; that of the newest one where
    it is the same and of the same day. Raises UserError.
    """
    folder = make_folder(runs.expanduser() / FOLDER)
    for newest in kept_sheets(runs)[:1]:
        if newest.name.startswith(f"{made:%Y-%m-%d}") and _unmade(newest) == _unmade(sheet_toml(job, sheet, made)):
            return newest
    name = " ".join(product.name for product in job.mix.products)
    for run_file in file_names(made, name):
        path = (folder / run_file).with_suffix(SUFFIX)
        try:
            with path.open("x", encoding="utf-8", newline="") as file:
                file.write(sheet_toml(job, sheet, made))
        except FileExistsError:
            continue
        except OSError as error:
            raise NotSavedError(
                f"{path} cannot be written ({error.strerror}): make room or change its folder."
            ) from None
        return path
    raise NotSavedError(f"{folder} holds a hundred sheets of this minute: wait a minute and save again.")


def _unmade(sheet: Path | str) -> list[str]:
    """A sheet's lines without the one that says when it was made; none of a file that cannot be read."""
    try:
        text = sheet.read_text(encoding="utf-8") if isinstance(sheet, Path) else sheet
    except (OSError, UnicodeDecodeError):
        return []
    return [line for line in text.splitlines() if not line.startswith("made = ")]


def kept_sheets(runs: Path) -> list[Path]:
    """The sheets that belong to a folder of runs, the newest first."""
    return sorted((runs.expanduser() / FOLDER).glob(f"*{SUFFIX}"), key=lambda path: path.name, reverse=True)
