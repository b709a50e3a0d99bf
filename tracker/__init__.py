"""From clips to measured shots: video, detection, path, shot, report, batch and command line."""
