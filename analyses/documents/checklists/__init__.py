"""Reporting checklists, filled in from what a document really contains.

The items stand in TOML files, in our own words; `filled.checklist_sections` answers them.
"""
