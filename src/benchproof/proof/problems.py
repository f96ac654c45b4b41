"""What cannot be done with a proof."""


class ProofProblem(Exception):
    """What was asked of a proof cannot be done; its text is one sentence, what to do included."""
