"""`benchproof person` and `benchproof customer`."""

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import opened_store
from benchproof.cli.tables import print_rows
from benchproof.face.kept import Customers, CustomerView, People, PersonView, row_shown, rows_shown
from benchproof.record.rows import CustomerRow, PersonRow


@click.command("add")
@click.argument("initials")
@click.option("--name", default="", help="The whole name.")
@STORE
@JSON
def add_person(initials: str, name: str, store: str | None, as_json: bool) -> None:
    """Record a person by INITIALS."""
    with opened_store(store) as archive:
        row = PersonRow(initials, name)
        archive.people.add(row)
    if as_json:
        print_json(row_shown(PersonView, row))
        return
    echo(f"Recorded: person {initials}.")


@click.command("list")
@STORE
@JSON
def list_people(store: str | None, as_json: bool) -> None:
    """List the people."""
    with opened_store(store, reading=True) as archive:
        rows = archive.people.list()
    if as_json:
        print_json(People(people=rows_shown(PersonView, rows)))
        return
    print_rows(rows, ("initials", "name"), "Nobody is recorded yet.")


@click.command("add")
@click.argument("tag")
@click.option("--name", default="", help="Name.")
@click.option("--contact", default="", help="One way to reach them.")
@STORE
@JSON
def add_customer(tag: str, name: str, contact: str, store: str | None, as_json: bool) -> None:
    """Record a customer as TAG."""
    with opened_store(store) as archive:
        row = CustomerRow(tag, name, contact)
        archive.customers.add(row)
    if as_json:
        print_json(row_shown(CustomerView, row))
        return
    echo(f"Recorded: customer {tag}.")


@click.command("list")
@STORE
@JSON
def list_customers(store: str | None, as_json: bool) -> None:
    """List the customers."""
    with opened_store(store, reading=True) as archive:
        rows = archive.customers.list()
    if as_json:
        print_json(Customers(customers=rows_shown(CustomerView, rows)))
        return
    print_rows(rows, ("tag", "name", "contact"), "No customer is recorded yet.")
