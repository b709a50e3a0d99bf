"""What pages need of ``lineup.json``; whatever else is in it may be otherwise."""

from __future__ import annotations

from typing import Any

NUMBER = (float, int)
MAYBE = (float, int, None)
VALUE = {"value": MAYBE}
WIDE = {"value": MAYBE, "low": MAYBE, "high": MAYBE}
REACH = {"recovery_boards": MAYBE, "hold_boards": MAYBE, "width_boards": WIDE, "middle_boards": MAYBE}
ROOM: dict[str, Any] = {
    "laydown_unchanged": REACH,
    "parallel": REACH,
    "miss_boards": [NUMBER],
    "chance_laydown_unchanged": [MAYBE],
    "chance_parallel": [MAYBE],
}
WAY: dict[str, Any] = {
    "ball": str,
    "from_line": str,
    "move": str,
    "stance": str,
    "target_board": NUMBER,
    "unsampled": bool,
    "chance": VALUE,
    "contact_board": VALUE,
    "contact_scatter_board": NUMBER,
    "entry_angle_deg": VALUE,
    "room": (ROOM, None),
}
LINE_UP: dict[str, Any] = {
    "lane": str,
    "hand": str,
    "ways": [WAY],
    "tied": [int],
    "sections": [{"heading": str, "lines": [str]}],
    "shots": [{"shot_id": str, "remarks": [{"text": str}]}],
}
BALLS: dict[str, Any] = {
    "line": {"board": NUMBER, "launch_deg": NUMBER, "speed_mph": NUMBER},
    "balls": [{"ball": str, "numbers": dict}],
    "differences": [{"ball": str, "other": str, "numbers": dict, "told": [str]}],
}
LANE: dict[str, Any] = {
    "lane": str,
    "oil": {"oil_end_ft": WIDE},
    "friction": {"board": [NUMBER], "distance_ft": [NUMBER], "rows": [[(float, int, str, None)]]},
    "hands": [{"hand": str, "comparison": BALLS}],
}
SCATTER = {"value": NUMBER, "low": NUMBER, "high": NUMBER, "repeats": int}
MODEL: dict[str, Any] = {
    "lanes": [LANE],
    "bowlers": [{"hand": str, "scatter": {"board": SCATTER, "launch_deg": SCATTER, "speed_mph": SCATTER}}],
}
OUTCOME: dict[str, Any] = {
    "made_from": {"shots_sha256": str},
    "line_ups": [LINE_UP],
    "left_out": [{"shot_id": str, "why": str}],
}
LINEUP: tuple[dict[str, Any], ...] = (
    OUTCOME | {"model": MODEL, "window": {"contact_board": [NUMBER], "entry_angle_deg": [NUMBER]}},
    OUTCOME | {"doubts": [{"text": str}]},
)
"""With a model, or the reasons why there is none."""

FILMED = {"width": int, "height": int, "nominal_fps": NUMBER}
