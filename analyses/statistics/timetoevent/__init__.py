"""Time to an event: survival, competing events, their comparison, and interval censoring.

Arrays go in, typed objects come out; no clinical table is known here, no file is written and
nothing is drawn. A duration is the time from a start
to an event or to the end of follow-up, in any one unit. Event codes: 0 censored, 1 the event
of interest, 2 and above competing events.
"""
