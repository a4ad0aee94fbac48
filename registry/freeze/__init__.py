"""The freeze: a dated, hashed, read-only data set with its table schema.

`make_freeze` writes one from a registry, `read_freeze` reads it and refuses a changed one.
"""
