"""Obbligato: from a guide track to a delivered part."""

__version__ = "0.1.0"
