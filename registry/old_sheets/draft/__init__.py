"""A first proposal of the mapping of an old spreadsheet: `draft_mapping`.

It says of every column what it is likely to be, by its heading and by its cells, and leaves open
what it is not sure of. It never takes data in.
"""
