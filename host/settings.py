"""What Swardflow remembers from one start to the next, in one TOML file that a person may edit.

What stands on the command line goes before it. The file is `swardflow/settings.toml` in the user's folder for settings
(XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME, by default ~/.config); SWARDFLOW_SETTINGS names another.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal

import tomli_w

from host.errors import BadInputError, NotFoundError, NotSavedError, reason_of
from host.schema import Choice, Place, Table, Text, Whole, YesNo, key
from host.toml_text import read_text, toml_tree
from host.whole_file import write_whole

VARIABLE = "SWARDFLOW_SETTINGS"
DEFAULT_PAGE_PORT = 8050
_LINE = Text(longest=300, shape="text of 1 to 300 characters")

_LABEL = Text(longest=40, pattern=r"[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?", shape="letters, digits and hyphens")


@dataclass(frozen=True)
class Settings:
    """What is remembered; empty text and None: nothing is."""

    rig: str = key(_LINE, "the sprayer: a name that 'swardflow rig list' shows, or the path of a rig file", default="")
    port: str = key(_LINE, "the board's port", default="")
    share: bool = key(YesNo(), "whether the pages are open to the local network", default=False)
    units: Literal["", "us", "metric"] = key(
        Choice(("us", "metric")), "units on the pages, in place of the rig's own", default=""
    )
    network_name: str = key(_LABEL, "the name of shared pages on the network: http://NAME.local", default="")
    own_code: bool = key(
        YesNo(), "whether shared pages also take a code of your own that stays the same", default=False
    )
    metrics: bool = key(YesNo(), "whether the pages answer programs at /metrics", default=False)
    page_port: int = key(Whole(1, 65535), "the pages' port", default=DEFAULT_PAGE_PORT)


_TABLE = Table(Settings)
NAMES = tuple(each.name for each in fields(Settings))
MEANINGS = {name: _TABLE.keys[name].meaning for name in NAMES}


def settings_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the settings are."""
    if given := environment.get(VARIABLE):
        return Path(given)
    home = environment.get("XDG_CONFIG_HOME")
    return Path(home or "~/.config").expanduser() / "swardflow" / "settings.toml"


def metrics_key_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the key for /metrics is: beside the settings."""
    return settings_path(environment).with_name("metrics-key")


def own_code_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the code that stays the same is: beside the settings."""
    return settings_path(environment).with_name("own-code")


def load_settings(path: Path | None = None) -> Settings:
    """What is remembered; without a file, nothing. Raises UserError for a file that cannot be read."""
    path = path or settings_path()
    where = f"settings file {path}"
    try:
        text = read_text(path, where)
    except NotFoundError:
        return Settings()
    return settings_from_tree(toml_tree(text, where, "correct it or delete it."), where)


def settings_from_tree(tree: Mapping[str, Any], where: str) -> Settings:
    """The settings in a TOML tree; `where` names it in messages. Raises UserError."""
    return _TABLE.read(dict(tree), Place(where))


def save_settings(settings: Settings, path: Path | None = None) -> None:
    """Write the file anew, in whole or not at all. Raises NotSavedError."""
    path = path or settings_path()
    kept = {name: value for name, value in asdict(settings).items() if value != getattr(Settings(), name)}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, tomli_w.dumps(kept).encode())
    except OSError as error:
        reason = reason_of(error)
        raise NotSavedError(
            f"the settings file {path} cannot be written ({reason}): check its folder's rights"
        ) from None


def changed(settings: Settings, name: str, text: str) -> Settings:
    """The settings with one of them as typed; an empty text forgets it. Raises BadInputError."""
    if name not in NAMES:
        from host.errors import suggestion

        raise BadInputError(f"there is no setting {name}: {suggestion(name, NAMES)}")
    if not text:
        return replace(settings, **{name: getattr(Settings(), name)})
    value: Any = text
    if isinstance(getattr(Settings(), name), bool):
        value = {"yes": True, "true": True, "no": False, "false": False}.get(text.lower(), text)
    elif name == "page_port" and text.isdecimal():
        value = int(text[:9])
    return replace(settings, **{name: getattr(settings_from_tree({name: value}, "the settings"), name)})
