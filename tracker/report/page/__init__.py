"""Pages that a browser opens: one self-contained file, complete without scripts."""
