"""The state of the data: completeness, queries, follow-up due, and the data dictionary."""
