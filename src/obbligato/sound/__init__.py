"""Sound files in and out, loudness, filters, fades, mixing."""
