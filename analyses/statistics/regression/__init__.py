"""Regression that survives few events and several rows a patient. `fitting.fit` is the one call."""
