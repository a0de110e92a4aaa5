"""Placing, reading, choosing and joining takes."""
