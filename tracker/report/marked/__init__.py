"""The marked-up video: a shot's stretch of the clip, cropped to the lane, with path, scale and numbers drawn on it."""
