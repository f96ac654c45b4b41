"""The command line: reads files, calls the layers below, prints. It computes nothing itself."""

from benchproof.cli.main import main

__all__ = ["main"]
