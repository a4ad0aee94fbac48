"""The case series: main text and supplement, a section a module."""
