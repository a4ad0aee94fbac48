"""Medians, quartiles and means of measurements."""
