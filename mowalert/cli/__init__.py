"""The commands: parse, call, print."""

from mowalert.cli.app import main

__all__ = ["main"]
