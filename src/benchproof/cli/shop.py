"""`benchproof shop`: what the shop puts on its papers."""

from pathlib import Path

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.cli.store import opened_store
from benchproof.conduct.people import check_somebody
from benchproof.conduct.shopsettings import CHOICES, MOST_LOGO_BYTES, letterhead, set_shop
from benchproof.face.kept import ShopView, shop_shown


@click.command()
@click.option("--name", help="The shop's name.")
@click.option("--address", help=r"Its address; \n begins another line.")
@click.option("--signer", help="Whose name stands under the signature.")
@click.option("--logo", metavar="FILE", help="The shop's own logo, PNG or SVG.")
@click.option("--no-logo", is_flag=True, help="Take the logo off.")
@click.option("--paper", type=click.Choice(CHOICES["paper"]), help="Size of paper.")
@click.option("--label", type=click.Choice(CHOICES["label"]), help="Size of label.")
@click.option("--distance", type=click.Choice(CHOICES["distance"]), help="Unit of the odometer.")
@click.option("--temperature", type=click.Choice(CHOICES["temperature"]), help="Its unit.")
@click.option("--language", type=click.Choice(CHOICES["language"]), help="Of the papers.")
@click.option("--by", metavar="INITIALS", help="Who changes it.")
@STORE
@JSON
def shop(
    logo: str | None,
    no_logo: bool,
    by: str | None,
    store: str | None,
    as_json: bool,
    **told: str | None,
) -> None:
    """Show or change what stands on the shop's papers: name, logo, sizes, units, language."""
    changed = {name: value for name, value in told.items() if value is not None}
    if "address" in changed:
        changed["address"] = changed["address"].replace("\\n", "\n")
    if logo is not None and no_logo:
        raise Refused("Give --logo FILE or --no-logo, not both.")
    if changed or logo is not None or no_logo:
        picture = None if logo is None else _read(logo)
        with opened_store(store) as archive:
            check_somebody(archive, by)
            head = set_shop(archive, changed, picture, without_logo=no_logo, by=by)
    else:
        with opened_store(store, reading=True) as archive:
            head = letterhead(archive)
    shown = shop_shown(head)
    if as_json:
        print_json(shown)
    else:
        _print(shown)


def _read(name: str) -> bytes:
    try:
        with Path(name).open("rb") as file:
            # More is refused; it need not be read.
            return file.read(MOST_LOGO_BYTES + 1)
    except OSError as error:
        raise Refused(f"{name}: cannot be read: {error.strerror}.") from None


def _print(shown: ShopView) -> None:
    lines = (
        ("Name", shown.name or "not set"),
        ("Address", ", ".join(shown.address.splitlines()) or "not set"),
        ("Signature", shown.signer or "whoever closed the proof"),
        ("Logo", "kept" if shown.logo else "none"),
        ("Paper", shown.paper),
        ("Label", shown.label),
        ("Units", f"{shown.distance}, °{shown.temperature}"),
        ("Language", shown.language),
    )
    for name, value in lines:
        echo(f"{name:<10} {value}")
