"""Where the camera is: geometry of the lane, camera model, solver and calibration file."""
