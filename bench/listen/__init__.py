"""The bench of listening: songs whose truth is known, what is found in them, and how far the two agree.

Run from the folder `bench`: `python -m listen [--quick] [--only NAME ...]`. Nothing here is used by the program.
"""
