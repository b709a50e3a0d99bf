"""Stages of the lane finder: lines of the picture, the fan of the lanes, far end, arrows, sub-pixel edges."""
