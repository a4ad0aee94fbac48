"""What the analysis plan asks of a freeze: every measure, counted and named."""
