"""Charts of a process over time: limits, run lengths, sequential tests, funnels, learning.

Arrays and frames of procedures go in; charts, estimates and chances come out.
"""
