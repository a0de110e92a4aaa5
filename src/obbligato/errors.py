"""Everything this program raises on purpose.

    ObbligatoError
    ├── InputError (also ValueError)   what was given cannot be used; exit status 2
    │   └── NoBeatError                a guide in which no beat can be heard
    └── NotRightError                  the job is not in order; exit status 1

A message is one or two plain sentences: what is wrong, and what to do about it.
"""


class ObbligatoError(Exception):
    """Root of all errors raised on purpose."""


class InputError(ObbligatoError, ValueError):
    """A file, folder, option or value given by the user cannot be used."""


class NoBeatError(InputError):
    """No beat can be heard in a guide, for the reason given: the player has to state the tempo."""

    def __init__(self, why: str) -> None:
        super().__init__(
            f"No beat could be found: {why}. Give the tempo by hand, in a job: "
            "obbligato map JOB --bpm TEMPO --bar-1 TIME"
        )


class NotRightError(ObbligatoError):
    """A check failed: the job as it stands must not go out."""
