"""`benchproof person` and `benchproof customer`."""

import click

from benchproof.cli.output import echo, print_json
from benchproof.cli.store import JSON, STORE, opened_store, print_rows


@click.group()
def person() -> None:
    """Who works at the bench; everything recorded bears initials."""


@person.command("add")
@click.argument("initials")
@click.option("--name", default="", help="The whole name.")
@STORE
def add_person(initials: str, name: str, store: str | None) -> None:
    """Record a person by INITIALS."""
    from benchproof.record.rows import PersonRow

    with opened_store(store) as archive:
        archive.people.add(PersonRow(initials, name))
    echo(f"Recorded: person {initials}.")


@person.command("list")
@STORE
@JSON
def list_people(store: str | None, as_json: bool) -> None:
    """List the people."""
    with opened_store(store, reading=True) as archive:
        rows = archive.people.list()
    if as_json:
        from benchproof.face.kept import People, PersonView, rows_shown

        print_json(People(people=rows_shown(PersonView, rows)))
        return
    print_rows(rows, ("initials", "name"), "Nobody is recorded yet.")


@click.group()
def customer() -> None:
    """Whom units belong to; record no more than you need to give them back."""


@customer.command("add")
@click.argument("tag")
@click.option("--name", default="", help="Name.")
@click.option("--contact", default="", help="One way to reach them.")
@STORE
def add_customer(tag: str, name: str, contact: str, store: str | None) -> None:
    """Record a customer as TAG."""
    from benchproof.record.rows import CustomerRow

    with opened_store(store) as archive:
        archive.customers.add(CustomerRow(tag, name, contact))
    echo(f"Recorded: customer {tag}.")


@customer.command("list")
@STORE
@JSON
def list_customers(store: str | None, as_json: bool) -> None:
    """List the customers."""
    with opened_store(store, reading=True) as archive:
        rows = archive.customers.list()
    if as_json:
        from benchproof.face.kept import Customers, CustomerView, rows_shown

        print_json(Customers(customers=rows_shown(CustomerView, rows)))
        return
    print_rows(rows, ("tag", "name", "contact"), "No customer is recorded yet.")
