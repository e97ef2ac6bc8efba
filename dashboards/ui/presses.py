"""Which button has been pressed, where buttons are found by a pattern."""

from __future__ import annotations

from typing import Any

from dash import ctx
from dash.exceptions import PreventUpdate


def pressed() -> dict[str, Any]:
    """The id of the button that was pressed. Raises PreventUpdate when buttons have only been drawn.

    A tap in the moment in which others are drawn comes together with those, in any order.
    """
    clicks = {one["prop_id"]: one["value"] for one in ctx.triggered}
    for prop_id, found in ctx.triggered_prop_ids.items():
        if clicks[prop_id] and isinstance(found, dict):
            return found
    raise PreventUpdate
