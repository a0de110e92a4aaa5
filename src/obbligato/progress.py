"""The one way long work reports how far it is."""

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with the fraction done (0 to 1) and a few words on what is being done."""


def silent(fraction: float, message: str) -> None:
    """Report to nobody."""


def part_of(progress: Progress, start: float, end: float) -> Progress:
    """Give a stage its share, `start` to `end`, of a longer job's progress.

    >>> seen = []
    >>> part_of(lambda f, m: seen.append((f, m)), 0.5, 1.0)(0.5, "tuning")
    >>> seen
    [(0.75, 'tuning')]
    """

    def report(fraction: float, message: str) -> None:
        progress(start + (end - start) * fraction, message)

    return report
