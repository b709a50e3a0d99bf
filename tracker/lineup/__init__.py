"""From the lane model to the decision: shots read, room, moves, what to throw next, what to bowl with."""
