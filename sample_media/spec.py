"""What a rendered clip is made of: camera, lane, ball, shot, bowler; frozen dataclasses with sensible defaults.

Colours are linear-light reflectances (red, green, blue), 0 to 1. Lengths carry their unit in the name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from calibration.lane import ARROW_SLOPE_FT, Hand

Rgb = tuple[float, float, float]
Pattern = Literal["plain", "pearl", "swirl"]
ALL_PINS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10)


@dataclass(frozen=True, slots=True)
class CameraSpec:
    """Where the phone stands and how it records.

    Attributes
    ----------
    x_ft, y_ft, z_ft : float
        Position in the lane frame, feet.
    yaw_deg, pitch_deg, roll_deg : float
        Yaw positive looks to the right, pitch positive looks down, roll positive turns the picture's right side down.
    f_px, k1, k2 : float
        Focal length in pixels of the upright frame; radial terms of the normalised radius squared and to the fourth.
    width, height : int
        Upright frame, pixels.
    fps, shutter_s : float
        Frame rate and exposure; a time stamp is the middle of the exposure.
    sideways : bool
        Store the frame turned by 90 degrees with a rotation flag, as a phone held upright does.
    drops : tuple of int
        Frames (counted before dropping) that are missing: the interval becomes variable.
    noise : float
        Factor on the sensor noise; 1 is an ordinary phone indoors, 0 none.
    crf : int
        Rate factor of the encoder; larger is smaller and worse.
    preset : str
        The encoder's speed; ``ultrafast`` for tests.
    """

    x_ft: float = 2.7
    y_ft: float = -19.0
    z_ft: float = 5.6
    yaw_deg: float = -4.2
    pitch_deg: float = 8.6
    roll_deg: float = 0.35
    f_px: float = 1640.0
    k1: float = -0.020
    k2: float = 0.004
    width: int = 1280
    height: int = 720
    fps: float = 60.0
    shutter_s: float = 1 / 90
    sideways: bool = False
    drops: tuple[int, ...] = ()
    noise: float = 1.0
    crf: int = 19
    preset: str = "medium"

    def resized(self, width: int, height: int, fps: float | None = None) -> CameraSpec:
        """The same view on another frame size (focal length scaled by the width) and, if given, frame rate."""
        return replace(self, width=width, height=height, f_px=self.f_px * width / self.width, fps=fps or self.fps)


@dataclass(frozen=True, slots=True)
class LookSpec:
    """Looks by which houses differ; the defaults are the sample session's house.

    Attributes
    ----------
    lane_tint, gutter_tint, approach_tint : Rgb
        Factors on the colours of lane, gutters and approach.
    board_contrast : float
        Factor on the differences between boards, seams and grain; 1 is wood, 0.2 a printed surface.
    middle_wood : bool
        Whether the lane's middle part is of another wood.
    foul_line, arrows : Rgb
        Colours of the foul line and of the lane's arrows and dots.
    show_arrows, show_dots : bool
        Leave them out with False.
    cap : float
        Factor on the floor between two lanes' gutters.
    surround, mask : float
        Factors on ceiling and side walls, and on the panel over the pins with the wall above.
    pit : float
        Factor on the curtain behind the pins and on the side plates.
    approach_ft : float
        Length of the approach; a carpet lies behind it.
    carpet : Rgb
        Colour of that carpet.
    """

    lane_tint: Rgb = (1.0, 1.0, 1.0)
    gutter_tint: Rgb = (1.0, 1.0, 1.0)
    approach_tint: Rgb = (1.0, 1.0, 1.0)
    board_contrast: float = 1.0
    middle_wood: bool = True
    foul_line: Rgb = (0.022, 0.02, 0.02)
    arrows: Rgb = (0.085, 0.035, 0.02)
    show_arrows: bool = True
    show_dots: bool = True
    cap: float = 1.0
    surround: float = 1.0
    mask: float = 1.0
    pit: float = 1.0
    approach_ft: float = 1000.0
    carpet: Rgb = (0.05, 0.04, 0.06)


@dataclass(frozen=True, slots=True)
class LaneSpec:
    """Oil, marks and look of the lane.

    Friction is ``mu_oil`` up to the oil's end and ``mu_dry`` beyond, joined by a smooth step of length ``taper_ft``
    centred there; toward the edges the oil ends ``outside_short_ft`` earlier and is thinner by the factor
    ``outside_ratio`` on friction.

    Attributes
    ----------
    oil_ft, taper_ft, mu_oil, mu_dry, outside_short_ft, outside_ratio : float
        The friction map.
    arrow_centre_ft, arrow_slope_ft, dots_ft : float
        Distance of the middle arrow's tip, feet lost per five boards from the middle, distance of the dots.
    brightness, gutter_brightness, gloss : float
        Factors on lane and gutter reflectance and on the mirror reflection of the oil.
    light : Rgb
        Colour of the light, 1 is white.
    look_seed : int
        Seed of boards and grain.
    look : LookSpec
        What differs between houses and has no part in the ball's motion.
    """

    oil_ft: float = 41.0
    taper_ft: float = 5.0
    mu_oil: float = 0.040
    mu_dry: float = 0.20
    outside_short_ft: float = 4.0
    outside_ratio: float = 1.35
    arrow_centre_ft: float = 15.6
    arrow_slope_ft: float = ARROW_SLOPE_FT
    dots_ft: float = 7.25
    brightness: float = 1.0
    gutter_brightness: float = 1.0
    gloss: float = 1.0
    light: Rgb = (1.0, 1.0, 1.0)
    look_seed: int = 11
    look: LookSpec = LookSpec()


@dataclass(frozen=True, slots=True)
class BallSpec:
    """A ball: name, mass properties, grip on the lane and look; ``grip`` multiplies the lane's friction."""

    name: str = "Test Grey"
    diameter_in: float = 8.59
    gyration_in: float = 2.52
    weight_lb: float = 15.0
    grip: float = 1.0
    colour: Rgb = (0.03, 0.03, 0.035)
    second: Rgb = (0.03, 0.03, 0.035)
    pattern: Pattern = "plain"
    shine: float = 1.0
    surface: str = "1500 grit"
    strength: int = 2

    @property
    def radius_in(self) -> float:
        """Radius in inches."""
        return self.diameter_in / 2


@dataclass(frozen=True, slots=True)
class ShotSpec:
    """How the ball is thrown; boards count from the hand's edge.

    ``launch_deg`` is positive toward the hand's gutter. ``rotation_deg`` is 0 for forward roll and 90 for pure side
    roll, ``tilt_deg`` the axis above the lane. ``rack`` are the pins that stand before the shot.
    """

    hand: Hand = "right"
    laydown_board: float = 14.0
    laydown_ft: float = 1.2
    launch_deg: float = 1.2
    speed_mph: float = 17.0
    rev_rpm: float = 320.0
    rotation_deg: float = 45.0
    tilt_deg: float = 13.0
    release_ft: float = -0.4
    rack: tuple[int, ...] = ALL_PINS


@dataclass(frozen=True, slots=True)
class BowlerSpec:
    """The stand-in bowler's look and behaviour.

    ``x_offset_in`` moves the body sideways (positive to the right) without moving the ball, to hide the path;
    ``steps_aside`` False lets him stay in his finish; ``present`` False leaves him out.
    """

    present: bool = True
    steps_aside: bool = True
    x_offset_in: float = 0.0
    shirt: Rgb = (0.42, 0.075, 0.05)
    yoke: Rgb = (0.62, 0.55, 0.44)
    trousers: Rgb = (0.045, 0.05, 0.065)
    skin: Rgb = (0.36, 0.19, 0.115)
    hair: Rgb = (0.045, 0.03, 0.022)
    shoes: Rgb = (0.5, 0.5, 0.48)


@dataclass(frozen=True, slots=True)
class NeighbourBall:
    """A ball on another lane: ``lane_offset`` lanes to the right (negative left), released ``delay_s`` after ours."""

    shot: ShotSpec
    ball: BallSpec
    lane_offset: int = 1
    delay_s: float = 0.9


@dataclass(frozen=True, slots=True)
class ClipSpec:
    """One clip. ``start_s`` counts from the release (negative before); ``tail_s`` from the end of the ball's way.

    The way ends at the first pin, or at the head pin's line when no pin is hit; a negative tail ends the clip early.
    """

    name: str = "clip"
    camera: CameraSpec = CameraSpec()
    lane: LaneSpec = LaneSpec()
    ball: BallSpec = BallSpec()
    shot: ShotSpec = ShotSpec()
    bowler: BowlerSpec = BowlerSpec()
    neighbour: NeighbourBall | None = None
    start_s: float = -0.8
    tail_s: float = 0.85
    sub_exposures: int = 3
