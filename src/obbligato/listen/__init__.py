"""From guide audio to a song map."""
