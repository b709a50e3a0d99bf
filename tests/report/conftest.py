"""A made-up shot with everything a report needs."""

from __future__ import annotations

import pytest
from made_up import CAMERA, hook, wooden_scene

from tracker.results import Quantity, ShotResult


@pytest.fixture
def shot() -> ShotResult:
    return ShotResult(
        shot_id="made-up",
        clip="made-up.mp4",
        status="measured",
        flags=("pins_not_read",),
        hand="right",
        quantities={
            "first_seen_ft": Quantity(3.0, 0.1),
            "first_seen_board": Quantity(15.1, 0.08),
            "laydown_board": Quantity(15.6, 0.12),
            "board_15ft": Quantity(11.83, 0.05),
            "onset_ft": Quantity(26.0, 0.3),
            "breakpoint_board": Quantity(8.0, 0.1),
            "breakpoint_ft": Quantity(42.4, 0.4),
            "roll_ft": Quantity(missing="still_turning"),
            "slip_end_ft": Quantity(missing="after_contact"),
            "launch_angle_deg": Quantity(-0.0001, 0.02),
            "contact_board": Quantity(17.4, 0.2),
            "contact_ft": Quantity(59.41, 0.01),
            "speed_release_mph": Quantity(17.2, 0.06),
        },
        path=hook(),
        camera=CAMERA,
        scene=wooden_scene(),
    )
