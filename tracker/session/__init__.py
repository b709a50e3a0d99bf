"""The session: what the bowler noted, and what the shots of a lane say together."""
