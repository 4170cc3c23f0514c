"""nightcure web: the page and its API."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import BadInput
from .controller import find_oven
from .show import err, print_qr, sentences

if TYPE_CHECKING:
    from ..settings import Web as WebSettings


def web(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
    port: Annotated[
        int | None, typer.Option(help="Instead of the one in oven.toml.", min=1, max=65535)
    ] = None,
) -> None:
    """Serve the page: a process of its own that reads the ledger and posts commands to it.

    It may crash or hang; the controller does not notice.
    """
    with sentences():
        from nightcure_web.app import run

        from ..settings import load_settings

        file = find_oven(oven)
        settings = load_settings(file)
        if port is not None:
            chosen = settings.web.model_copy(update={"port": port})
            settings = settings.model_copy(update={"web": chosen})
        refuse_taken_port(settings.web.address, settings.web.port)
        run(settings, lambda: say_where(settings.web, settings.name), file)


def say_where(web: WebSettings, oven: str) -> None:
    """Print the page's address as people type it, its QR code for phones on the network, and
    whether it can steer."""
    host = web.address
    if host in ("0.0.0.0", "::"):
        with suppress(BadInput):
            host = own_address()
    host = f"[{host}]" if ":" in host else host
    if host not in ("127.0.0.1", "[::1]", "localhost"):
        print_qr(f"http://{host}:{web.port}/")
    mute = "" if web.passphrase_hash else " No passphrase is set: it takes no commands."
    err.print(
        f"The page of {oven}: http://{host}:{web.port}/{mute} Ctrl-C ends it.",
        highlight=False, markup=False, soft_wrap=True,
    )  # fmt: skip


def refuse_taken_port(address: str, port: int) -> None:
    """Raise BadInput, one sentence, unless a server could listen there now."""
    import errno
    import socket

    try:
        family, kind, protocol, _, place = socket.getaddrinfo(
            address, port, type=socket.SOCK_STREAM
        )[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(place)
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise BadInput(f"Port {port} is in use; choose another one with --port.") from None
        raise BadInput(
            f"The page cannot listen on {address}, port {port}: {error.strerror}; name an address "
            f"of this machine and a port that is free."
        ) from None


def own_address() -> str:
    """This machine's address on its network; nothing is sent to find it.

    Raises:
        BadInput: it is on none.
    """
    import socket

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): only the route is looked up
        except OSError:
            raise BadInput("This machine is on no network, so no phone can reach it.") from None
        return str(probe.getsockname()[0])
