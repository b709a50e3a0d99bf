"""Where the ball could be in each frame: lane region, background, candidates and the sub-pixel outline fit."""
