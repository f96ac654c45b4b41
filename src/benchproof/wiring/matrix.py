"""A relay matrix: which relay joins which pin to which side of the meter."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Pair
from benchproof.wiring.sides import sides_of


@dataclass(frozen=True)
class Relay:
    """One relay: its channel, its pin, and the meter's lead that it brings there."""

    channel: int
    pin: str
    lead: str


@dataclass(frozen=True)
class RelayMatrix:
    """Wiring of a relay matrix.

    Attributes
    ----------
    relays : tuple of Relay
        One a pin and side, by channel.
    pairs : tuple of pair
        The pairs as (plus pin, minus pin).
    channels : tuple of (int, int)
        The channels to close for each pair: plus, minus. All others are open.
    """

    relays: tuple[Relay, ...]
    pairs: tuple[Pair, ...]
    channels: tuple[tuple[int, int], ...]


def relay_matrix(pairs: Sequence[Pair], first_channel: int = 101) -> RelayMatrix:
    """Return the wiring of a relay matrix with as few relays as the pairs allow.

    Parameters
    ----------
    pairs : sequence of pair
        The pairs to connect, each once.
    first_channel : int
        Number of the first relay; the others follow.
    """
    sides = sides_of(pairs)
    wanted = [(pin, "+") for pin in sides.plus] + [(pin, "-") for pin in sides.minus]
    relays = tuple(
        Relay(first_channel + n, pin, f"meter {side}") for n, (pin, side) in enumerate(wanted)
    )
    number = {(relay.pin, relay.lead[-1]): relay.channel for relay in relays}
    channels = tuple((number[plus, "+"], number[minus, "-"]) for plus, minus in sides.pairs)
    return RelayMatrix(relays, sides.pairs, channels)
