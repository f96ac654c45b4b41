"""The shop's own figures. See costs.toml."""

from typing import Annotated

import msgspec
from msgspec import Meta

from benchproof.family.tomlfile import TomlFile

Amount = Annotated[float, Meta(ge=0, le=1e9)]
Minutes = Annotated[float, Meta(ge=0, le=100_000)]
Rate = Annotated[float, Meta(ge=0, le=1)]


class Costs(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What work, parts and comebacks cost; each field is explained in costs.toml."""

    currency: Annotated[str, Meta(min_length=1, max_length=30)]
    hour: Amount
    new_part: Amount
    comeback: Amount
    reuse_min: Minutes
    realign_min: Minutes
    clean_min: Minutes
    replace_min: Minutes
    good_comeback_rate: Rate
    new_comeback_rate: Rate
    misaligned_comeback_rate: Rate
    faulty_comeback_rate: Rate
    clean_cures_rate: Rate
    proof_finds_rate: Rate
    doubtful_good_rate: Rate


def read_costs(data: bytes, file: str, family: str, defaults: Costs | None = None) -> Costs:
    """Read a file of costs.

    Parameters
    ----------
    data : bytes
        TOML; may leave out keys if `defaults` are given.
    file : str
        Its name, for messages.
    family : str
        The family whose table, if there is one, is taken over the file's own keys.
    defaults : Costs or None
        What keys that are left out are taken from.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    toml.take_family(family, defaults)
    return toml.shaped(Costs)
