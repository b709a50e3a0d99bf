"""From detections to a path in lane units: runs, Kalman filter and smoother, joint posterior."""
