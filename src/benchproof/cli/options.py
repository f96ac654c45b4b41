"""Options that several commands share."""

import click

BENCH = click.option(
    "--bench", metavar="B", help="Bench profile, or the name of one that comes along."
)
FROM = click.option("--from", "start", metavar="POSITION", help="Where the lever stands now.")
PRIORS = click.option("--priors", metavar="FILE", help="Priors to take in place of the usual.")
STORE_VARIABLE = "BENCHPROOF_STORE"
STORE = click.option(
    "--store",
    metavar="WHERE",
    envvar=STORE_VARIABLE,
    show_envvar=True,
    help="Archive: a file, or a PostgreSQL URL. Without it, a file in your data folder.",
)
"""The option of every command that uses the archive."""
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object (docs/json.md).")
SAY = click.option(
    "--say",
    multiple=True,
    metavar="WHAT",
    help="What nobody has said of the family: proposed, NAME=park, A-B='start permit', "
    "'start permit=none'; may be given again.",
)
