"""Privacy: who may be named stays out at the door, and what leaves cannot be traced back.

`identifying_heading` and `identifying_content` recognise direct identifiers; `StudyCodes` makes
study codes from the service's own numbers with a keyed hash; `cap_ages`, `shift_dates` and
`suppress_small` are for files that leave.
"""
