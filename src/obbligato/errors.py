"""Everything this program raises on purpose.

    ObbligatoError
    ├── InputError (also ValueError)   what was given cannot be used; exit status 2
    └── NotRightError                  the job is not in order; exit status 1

A message is one or two plain sentences: what is wrong, and what to do about it.
"""


class ObbligatoError(Exception):
    """Root of all errors raised on purpose."""


class InputError(ObbligatoError, ValueError):
    """A file, folder, option or value given by the user cannot be used."""


class NotRightError(ObbligatoError):
    """A check failed: the job as it stands must not go out."""
