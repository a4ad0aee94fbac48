"""Tables of estimates as content."""
