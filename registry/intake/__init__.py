"""Intake: files of a service in, rows of the registry and problems a person can act on out.

Names are loaded when asked for, because reading needs pandas and writing needs more.
"""
