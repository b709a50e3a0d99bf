"""A small rendered practice session with its truth, and the renderer that makes it."""
