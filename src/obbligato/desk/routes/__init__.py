"""The addresses under /api, one module for each part of the page."""
