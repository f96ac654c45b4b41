"""What can go wrong with the archive, each as one sentence that a person can act on."""


class RecordProblem(Exception):
    """The archive cannot do what was asked; the message is one sentence that says why."""


class NoSuch(RecordProblem):
    """Nothing in the archive has this tag."""


class TagTaken(RecordProblem):
    """Something in the archive has this tag already."""


class Conflict(RecordProblem):
    """It does not fit what the archive holds: somebody else was first, or it is not allowed."""


class StillOpen(Conflict):
    """Another proof of the part is open.

    Parameters
    ----------
    part : str
        Tag of the part.
    proof : str
        Tag of the proof, the latest if there are several.
    """

    def __init__(self, part: str, proof: str) -> None:
        super().__init__(
            f"{part}: proof {proof} of this part is open; go on with it (benchproof proof read "
            f"{proof}), or open another all the same by asking for it (--another; in the API "
            "another)."
        )
        self.proof = proof


class Unusable(RecordProblem):
    """The archive cannot be used: full, read-only, locked, damaged, foreign or too new."""


class Altered(RecordProblem):
    """Something is not as it was recorded; nothing is made of it."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"{what}; nothing is made of it. Run benchproof verify, which says what is still good."
        )


def no_archive(place: str) -> Unusable:
    """Return what to say where there is no archive to read."""
    return Unusable(
        f"{place}: there is no archive here; name the right place with --store, or record "
        "something first, which makes one."
    )
