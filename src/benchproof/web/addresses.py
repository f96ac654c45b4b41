"""At which of this computer's addresses devices of the network are served: one, which is chosen."""

import socket
from ipaddress import IPv4Address

import psutil

EVERY = "0.0.0.0"
"""Stands for every address of this computer, those of networks that it joins later too."""


class NoAddress(Exception):
    """No address to serve devices at; its text says what to do."""


def network_addresses() -> dict[str, str]:
    """Return this computer's addresses in networks, each with the name of its interface."""
    found = {
        one.address: interface
        for interface, held in psutil.net_if_addrs().items()
        for one in held
        if one.family == socket.AF_INET
    }
    # The system gives itself a link-local one where nobody gave it any: no network is there.
    return {
        address: interface
        for address, interface in found.items()
        if not (IPv4Address(address).is_loopback or IPv4Address(address).is_link_local)
    }


def chosen(told: str) -> str:
    """Return the address to serve devices at.

    Parameters
    ----------
    told : str
        What the person named; empty for the only one.

    Raises
    ------
    NoAddress
        If it is none of this computer's, or there are several to choose from.
    """
    ours = network_addresses()
    listed = "".join(f"\n  --lan {address}  ({name})" for address, name in ours.items())
    if told:
        if told == EVERY or told in ours or _is_loopback(told):
            return told
        tail = f"name one of these:{listed}" if ours else "it is in no network."
        raise NoAddress(f"{told} is no address of this computer; {tail}")
    if not ours:
        raise NoAddress("this computer is in no network; join one, then start again.")
    if len(ours) > 1:
        raise NoAddress(
            "this computer is in several networks; name its address in the one that the devices "
            f"are in:{listed}"
        )
    return next(iter(ours))


def reached(address: str) -> list[str]:
    """Return the addresses at which devices reach this computer, by the one that was chosen."""
    return [*network_addresses()] if address == EVERY else [address]


def own_names(address: str) -> list[str]:
    """Return the names and addresses by which this computer is called for."""
    name = socket.gethostname()
    return sorted({"localhost", "127.0.0.1", name, f"{name}.local", *reached(address)})


def _is_loopback(told: str) -> bool:
    """Tell whether it is an address at which this computer reaches itself, for a trial."""
    try:
        return IPv4Address(told).is_loopback
    except ValueError:
        return False
