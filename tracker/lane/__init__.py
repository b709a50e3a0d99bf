"""Before a clip is measured: the picture without people, and which lane the bowler uses."""
