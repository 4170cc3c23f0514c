"""HTTP API and page."""
