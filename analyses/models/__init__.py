"""Technique models: the declared plan, the frames it is fitted on, the run, and its words."""
