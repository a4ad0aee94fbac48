"""Proportions and differences of proportions, with the patient respected where rows repeat.

Units in, `Estimate` out. Every function takes the keyword-only names `id`, `unit`, `group` and
`keys` (one key a row, text or a tuple of parts) and puts them on the estimate. Nothing to count
gives an estimate without a value and the flag for it, never an exception.
"""
