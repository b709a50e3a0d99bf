"""Pictures of a shot's folder made small and put into the page itself."""

from __future__ import annotations

import base64
from pathlib import Path

import cv2
import numpy as np

from tracker.report.folder import ShotEntry

QUALITY = 80
LANE_SHARE = (0.0, 0.585)
"""Columns of the overlay that show the lane; the rest shows the path over boards, which the page draws itself."""
HEAD_SHARE, FOOT_SHARE = 0.085, 0.945
LANE_WIDTH, PINS_WIDTH = 842, 1100


def lane_picture_uri(shot: ShotEntry) -> str:
    """The path on the lane with nobody in it, as a data URI; empty where there is none."""
    picture = _read(shot.pictures.get("overlay.png"))
    if picture is None:
        return ""
    height, width = picture.shape[:2]
    first, last = (int(width * part) for part in LANE_SHARE)
    return _uri(picture[int(height * HEAD_SHARE) : int(height * FOOT_SHARE), first:last], LANE_WIDTH)


def pins_picture_uri(shot: ShotEntry) -> str:
    """The pins before, at contact and after, as a data URI; empty where there is none."""
    picture = _read(shot.pictures.get("pins.png"))
    return "" if picture is None else _uri(picture, PINS_WIDTH)


def _read(file: Path | None) -> np.ndarray | None:
    if file is None:
        return None
    try:
        found = cv2.imdecode(np.frombuffer(file.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    except (OSError, cv2.error):
        return None
    return None if found is None else np.asarray(found)


def _uri(picture: np.ndarray, width: int) -> str:
    if picture.shape[1] > width:
        size = (width, max(1, round(picture.shape[0] * width / picture.shape[1])))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    done, coded = cv2.imencode(".webp", picture, [cv2.IMWRITE_WEBP_QUALITY, QUALITY])
    return f"data:image/webp;base64,{base64.b64encode(coded.tobytes()).decode('ascii')}" if done else ""
