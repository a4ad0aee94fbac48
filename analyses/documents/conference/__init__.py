"""The morbidity and mortality conference: one case as slides and as a page."""
