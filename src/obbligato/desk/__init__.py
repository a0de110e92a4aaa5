"""The desk: one local page for a folder of jobs, and the small server behind it."""
