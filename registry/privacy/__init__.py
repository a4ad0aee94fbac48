"""Privacy: who may be named stays out at the door, and what leaves cannot be traced back.

`identifying_heading` and `identifying_content` recognise direct identifiers, and
`points_to_person` what in free text leads to somebody; `StudyCodes` makes study codes from the
service's own numbers with a keyed hash; `cap_ages` and `without_free_text` are for what leaves,
and `is_small` says which count could point to a person. No file that leaves holds a patient's
date, so dates are not moved: that would hide nothing more, and make every trend over the years
untrue.
"""
