"""The start as a page: plots, HTML, PDF, PNG."""
