"""A group of commands whose modules are imported only when they are needed."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click
from click.shell_completion import CompletionItem


class Later(click.Command):
    """A command that is not imported yet.

    Parameters
    ----------
    place : str
        Where it stands, as "module:name" with the module below `benchproof.cli`.
    summary : str
        The first sentence of its help: lists of commands show it without importing it.
    """

    def __init__(self, place: str, summary: str) -> None:
        super().__init__(place, help=summary)
        self._place = place

    def load(self) -> click.Command:
        """Import and return the command."""
        module, _, name = self._place.partition(":")
        command = getattr(import_module(f"benchproof.cli.{module}"), name)
        assert isinstance(command, click.Command), f"{self._place} is no command"
        return command


class LazyGroup(click.Group):
    """A group that imports a command when it is run or asked for help, not when it is listed.

    Parameters
    ----------
    later : mapping of str to Command
        The commands by name, each a `Later` or a group of them.
    """

    def __init__(self, *args: Any, later: Mapping[str, click.Command], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.commands.update(later)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, imported."""
        command = super().get_command(ctx, cmd_name)
        if isinstance(command, Later):
            command = self.commands[cmd_name] = command.load()
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands with their summaries; nothing is imported."""
        names = self.list_commands(ctx)
        # The room that click's own group leaves.
        room = formatter.width - 6 - max(map(len, names))
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, self.commands[name].get_short_help_str(room)) for name in names]
            )

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete the names of commands; nothing is imported."""
        named = [
            CompletionItem(name, help=self.commands[name].get_short_help_str())
            for name in self.list_commands(ctx)
            if name.startswith(incomplete)
        ]
        return [*named, *click.Command.shell_complete(self, ctx, incomplete)]
