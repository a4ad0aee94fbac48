"""The store: where the registry's rows are kept, with every change.

`open_registry` opens a SQLite file by its path or PostgreSQL by its URL; `Registry.take_in`
takes a batch in and `Registry.tables` gives everything back.
"""
