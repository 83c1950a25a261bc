"""The command that serves the pages."""

from typing import Annotated

import typer

from mowalert.cli.common import one_line_errors, opened, settings_now
from mowalert.errors import InputError


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("serve")(serve)


def serve(
    host: Annotated[str, typer.Option("--host", help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen on.")] = 8000,
    behind_proxy: Annotated[
        bool, typer.Option("--behind-proxy", help="Believe X-Forwarded-For of a proxy on this machine.")
    ] = False,
) -> None:
    """Serve the pages until stopped; put a proxy that speaks TLS before it."""
    with one_line_errors():
        try:
            import uvicorn

            from mowalert.web.app import create_app
        except ImportError as error:
            raise InputError("the pages need more: install mowalert[web]") from error
        with opened(settings_now().hurried()) as services:
            uvicorn.run(
                create_app(services),
                host=host,
                port=port,
                # Private links stand in the paths: they belong in no log.
                access_log=False,
                log_level="warning",
                server_header=False,
                proxy_headers=behind_proxy,
                forwarded_allow_ips="127.0.0.1,::1",
            )
