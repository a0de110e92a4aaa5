"""An invented song and the whole job on it."""
