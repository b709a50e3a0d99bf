"""Local web pages: served to this machine only, self-contained, standard library only."""
