"""The `fitsvc` command."""

from fitsvc.cli.app import main

__all__ = ["main"]
