"""A ball that slips and then rolls on a lane whose friction changes along the way."""
