"""Pictures of shots, lane and room as self-contained SVG texts: pure functions of small frozen data."""
