"""Engraving and one-page papers."""
