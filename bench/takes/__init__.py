"""How well takes are placed, read, chosen and joined: `python -m takes`."""
