"""The face of the analyses: a `Study` is a freeze with what was left out of it and added to it.

`open_study` opens one; its frames, questions, comparisons, models, reports and exports are
methods of `Study`. Everything it gives comes from the rooms below: no number is made here.
"""
