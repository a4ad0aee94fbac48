"""Published series: the table, what may stand beside what, and the service's own place."""
