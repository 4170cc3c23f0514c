"""Routes of the API, one module a subject."""
