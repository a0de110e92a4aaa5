"""Grid, line, instruments, harmony and notation."""
