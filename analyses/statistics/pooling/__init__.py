"""Counts of several series pooled with a binomial–normal model."""
