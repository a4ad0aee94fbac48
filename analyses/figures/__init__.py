"""All figures, in one style. They return a matplotlib figure and touch no file."""
