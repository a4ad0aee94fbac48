"""Numbered migrations: how data written by an earlier version become data of this one.

`numbered.MIGRATIONS` is the list; `change_steps` are the kinds of steps it is written in;
`carried_over.carry_over` does them to rows, wherever these come from. A registry's tables and a
freeze's files go through the same steps.
"""
