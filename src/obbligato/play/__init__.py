"""Mock-up, click and headphone mixes."""
