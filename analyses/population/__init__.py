"""Who is counted: the rows of every unit of analysis, worked out once from a freeze.

injection < catheter < session < lesion < patient. The unit "session" is a procedure: two
lesions embolized in one procedure are one. `units_of(tables)` builds them all.
"""
