"""Events per person-time, and ratios of such rates."""
