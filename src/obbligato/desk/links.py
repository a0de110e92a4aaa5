"""Addresses of files that work as plain links: signed with this run's token, for one file each."""

from __future__ import annotations

import hashlib
import hmac
from urllib.parse import quote

_DIGITS = 32


class Links:
    """Signs and checks addresses of files in jobs."""

    def __init__(self, token: str) -> None:
        self._key = token.encode()

    def to(self, job: str, relative: str) -> str:
        """The address of a file in a job, for as long as this run lasts."""
        return f"/file/{self._signature(job, relative)}/{quote(job)}/{quote(relative)}"

    def hold(self, signature: str, job: str, relative: str) -> bool:
        """Whether an address was given out in this run."""
        return hmac.compare_digest(signature.encode(), self._signature(job, relative).encode())

    def _signature(self, job: str, relative: str) -> str:
        message = f"{len(job)}:{job}/{relative}".encode(errors="surrogatepass")
        return hmac.new(self._key, message, hashlib.sha256).hexdigest()[:_DIGITS]
