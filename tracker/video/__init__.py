"""Clips: upright frames with their times, and the facts of a clip."""
