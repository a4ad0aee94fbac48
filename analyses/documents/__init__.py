"""The documents for the three audiences, as content built from estimates."""
