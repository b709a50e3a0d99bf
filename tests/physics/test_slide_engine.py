"""The closed-form slide against a physics engine, MuJoCo (elliptic friction cone: its usual pyramid is no Coulomb)."""

from __future__ import annotations

import math
from functools import cache
from importlib.util import find_spec

import numpy as np
import pytest
from lanes.truth import integrate
from lanes.zones import same_ball, zone_lane
from rolls import FT, G_ZONES, IN, Case, D, G, Zones, at, rolled

from calibration.lane import board_from_x, x_from_board
from tracker.physics.slide import GRAVITY_IN_S2
from tracker.physics.spin import RAD_S_PER_RPM, motion_of

pytestmark = pytest.mark.skipif(find_spec("mujoco") is None, reason="mujoco is not installed")

STEP_S = 4e-4
BALL_KG = 6.8
WORLD = """
<mujoco>
  <option cone="elliptic" integrator="implicitfast" timestep="{step}" impratio="10" gravity="0 0 -{gravity}"/>
  <worldbody>
    <geom name="lane" type="plane" size="3 60 1" condim="3" friction="0.1 0 0"
          solref="0.004 1" solimp="0.99 0.999 0.0001"/>
    <body name="ball" pos="0 0 {radius}">
      <freejoint/>
      <inertial pos="0 0 0" mass="{mass}" diaginertia="{inertia} {inertia} {inertia}"/>
      <geom type="sphere" size="{radius}" condim="3" friction="0 0 0"
            solref="0.004 1" solimp="0.99 0.999 0.0001"/>
    </body>
  </worldbody>
</mujoco>
"""


@cache
def engine(thrown: Case, zones: Zones) -> np.ndarray:
    """Time, place across and along, velocity across and along ``(n, 5)``, inches and seconds, to 60 ft."""
    import mujoco

    radius, gyration = thrown.mass.radius_in * IN, thrown.mass.gyration_in * IN
    model = mujoco.MjModel.from_xml_string(
        WORLD.format(
            step=STEP_S, gravity=GRAVITY_IN_S2 * IN, radius=radius, mass=BALL_KG, inertia=BALL_KG * gyration**2
        )
    )
    data = mujoco.MjData(model)
    motion, t = motion_of(thrown.thrown, "right"), thrown.thrown
    spin_z = t.rev_rpm * RAD_S_PER_RPM * math.sin(math.radians(t.tilt_deg))
    data.qpos[0] = x_from_board(thrown.board, "right") * IN
    data.qvel[:] = [motion.vx_in_s[0] * IN, motion.vy_in_s[0] * IN, 0, motion.wx_rad_s[0], motion.wy_rad_s[0], spin_z]
    rows = []
    while data.qpos[1] < 60.5 * FT * IN and data.time < 6:
        rows.append((data.time, *data.qpos[:2] / IN, *data.qvel[:2] / IN))
        model.geom_friction[0, 0] = [mu for ft, mu in zones if data.qpos[1] >= ft * FT * IN or ft == 0][-1]
        mujoco.mj_step(model, data)
    return np.array(rows)


@pytest.mark.parametrize(("thrown", "zones"), [(D, ((0.0, 0.10),)), (G, G_ZONES)], ids="DG")
def test_path_and_end_are_the_engine_s(thrown, zones):
    rows, path = engine(thrown, zones), rolled(thrown, zones, 0.05)
    for ft in (15.0, 30.0, 40.0, 50.0, 60.0):
        t, x, vx, vy = (float(np.interp(ft * FT, rows[:, 2], rows[:, k])) for k in (0, 1, 3, 4))
        ours = at(path, ft)
        assert ours["b"] == pytest.approx(float(board_from_x(x, "right")), abs=0.01)
        assert ours["t"] == pytest.approx(t, abs=1e-3)
    speed, left = math.hypot(vx, vy), math.degrees(math.atan2(-vx, vy))
    assert ours["mph"] * 17.6 == pytest.approx(speed, rel=5e-4)
    assert math.radians(ours["deg"]) == pytest.approx(math.radians(left), abs=5e-4)


def test_lanes_that_judge_the_lane_model_roll_as_the_engine_does():
    """The simulator of tests/lanes on case G; film is tabulated every half foot: so far may dry boards be off."""
    rows = engine(G, G_ZONES)
    runs = integrate(zone_lane(0.04, 0.20, G_ZONES), same_ball(18, 350, 45, 15, 2.0, 20.0, 2.50))
    for ft, boards in ((15.0, 0.01), (30.0, 0.02), (39.0, 0.03), (60.0, 0.35)):
        t, x = (float(np.interp(ft * FT, rows[:, 2], rows[:, k])) for k in (0, 1))
        assert runs.board([ft], np.ones(1))[0, 0] == pytest.approx(float(board_from_x(x, "right")), abs=boards)
        assert runs.time([ft])[0, 0] == pytest.approx(t, abs=2e-3)
    vx, vy = (float(np.interp(60 * FT, rows[:, 2], rows[:, k])) for k in (3, 4))
    assert runs.heading_deg([60.0], np.ones(1))[0, 0] == pytest.approx(math.degrees(math.atan2(-vx, vy)), abs=0.02)
