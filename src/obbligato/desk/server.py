"""Running the desk: a free port on the loopback address, a fresh token, and the address to open."""

from __future__ import annotations

import contextlib
import secrets
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from obbligato.desk.app import guarded, make_app
from obbligato.desk.deps import Desk
from obbligato.errors import InputError
from obbligato.play.devices import DeviceLibrary

USUAL_PORT = 8620
_TRIED = 20
_LOOPBACK = "127.0.0.1"


def serve(
    folder: Path,
    *,
    port: int | None,
    open_page: bool,
    tell: Callable[[str], None],
    library: DeviceLibrary | None = None,
) -> None:
    """Serve the desk until interrupted.

    Parameters
    ----------
    folder
        The folder of jobs; made when it is not there.
    port
        The port to use; if left out, the usual one or the next that is free.
    open_page
        Whether to open the page in the player's browser.
    tell
        Called once with the address to open, when the desk is ready.
    library
        Where audio devices come from; this computer's own if left out.

    Raises
    ------
    InputError
        When the folder cannot be used or the port is taken.
    """
    desk = Desk.at(folder, token=secrets.token_urlsafe(24), library=library)
    listening = _listen(port)
    number = listening.getsockname()[1]
    address = f"http://{_LOOPBACK}:{number}/#token={desk.token}"

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            tell(address)
            if open_page:
                with contextlib.suppress(webbrowser.Error):
                    webbrowser.get().open(address)

    config = uvicorn.Config(
        guarded(make_app(desk), ports=[number]),
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=1,
        lifespan="on",
    )
    try:
        Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        return
    finally:
        listening.close()


def _listen(port: int | None) -> socket.socket:
    """A socket on the loopback address alone."""
    for number in [port] if port is not None else range(USUAL_PORT, USUAL_PORT + _TRIED):
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((_LOOPBACK, number))
            listening.listen(128)
            return listening
        except OSError:
            listening.close()
    if port is not None:
        raise InputError(f"Port {port} is taken; leave --port out, or name another.")
    raise InputError(f"The ports {USUAL_PORT} to {USUAL_PORT + _TRIED - 1} are all taken; name one with --port.")
