"""Grades, scores, worked-out technique and practice limits: each thing once."""
