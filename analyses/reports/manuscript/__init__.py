"""The case series as a manuscript: methods, results, limitations, supplement, each a module."""
