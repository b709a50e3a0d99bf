"""A made-up shot with everything a report needs."""

from __future__ import annotations

import numpy as np
import pytest
from made_up import CAMERA, hook, wooden_scene

from tracker.columns import FIT_NUMBERS
from tracker.results import LaunchFit, Quantity, ShotResult

TOLD = {"speed_mph": Quantity(17.2, 0.2), "side_spin_rpm": Quantity(216.0, 13.0)}


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
        launch=LaunchFit(
            {c.name: TOLD.get(c.name, Quantity(missing="still_turning")) for c in FIT_NUMBERS},
            tuple(TOLD),
            np.array([[0.04, 1.3], [1.3, 169.0]]),
        ),
        path=hook(),
        camera=CAMERA,
        scene=wooden_scene(),
    )
