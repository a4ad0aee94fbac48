"""One case for a conference: its course without identity, its choice, and the signal around it."""
