"""The quality report: two pages for a meeting, and the page inside the service."""
