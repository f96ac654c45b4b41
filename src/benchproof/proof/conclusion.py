"""What a state concludes: a summary that can be kept and compared, and a digest of all of it."""

from hashlib import sha256
from typing import Any

import msgspec

from benchproof.family.model import pair_text
from benchproof.plan.actions import TakeReading
from benchproof.proof.events import Concluded
from benchproof.proof.setting import Setting
from benchproof.proof.state import State


def concluded_by(state: State, version: str) -> Concluded:
    """Return what a state concludes.

    Parameters
    ----------
    state : State
        Before it is closed.
    version : str
        Version of the program that computed it.
    """
    known, found = state.as_left.known, state.as_left.diagnosis
    return Concluded(
        version=version,
        verdict=state.as_left.judgement.verdict.value,
        cells=_cells(state.as_left),
        as_found_verdict=state.as_found.judgement.verdict.value,
        as_found_cells=_cells(state.as_found),
        decided="" if known is None or known.decided is None else known.decided.value,
        verdicts=None if known is None else {v.value: p for v, p in known.verdicts.items()},
        hazard=None if known is None else known.hazard,
        offset=None if found is None or found.offset is None else found.offset.best,
        against=tuple(objection.sentence for objection in state.objections),
    )


def _cells(setting: Setting) -> tuple[tuple[str, str], ...]:
    return tuple((cell.name, cell.outcome.result.value) for cell in setting.judgement.cells)


def digest_of(state: State) -> str:
    """Return the SHA-256 of everything that a state concludes, bit for bit.

    The same events give the same digest with the same version of the program and of numpy on the
    same kind of processor; another one may compute the last digit of a probability otherwise.
    """
    shaped = {
        "as left": _all_of(state.as_left),
        "as found": _all_of(state.as_found),
        "against": [o.sentence for o in state.objections],
        "next": _next(state),
    }
    return sha256(msgspec.json.encode(shaped, order="sorted")).hexdigest()


def _all_of(setting: Setting) -> dict[str, Any]:
    judged = setting.judgement
    told: dict[str, Any] = {
        "verdict": judged.verdict.value,
        "reasons": judged.reasons,
        "cells": [(c.name, c.outcome.result.value, c.outcome.reason) for c in judged.cells],
        "cautions": judged.cautions,
    }
    found = setting.diagnosis
    if found is not None:
        told["diagnosis"] = {
            "verdicts": {verdict.value: p.hex() for verdict, p in found.verdicts.items()},
            "hazard": found.hazard.hex(),
            "decided": found.decided,
            "faults": [(str(c.fault), c.probability.hex(), c.evidence) for c in found.faults],
            "unknowable": found.unknowable,
        }
        if (offset := found.offset) is not None:
            numbers = (offset.best, *sum(offset.intervals95, ()))
            told["diagnosis"]["offset"] = [x.hex() for x in numbers]
    return told


def _next(state: State) -> list[str]:
    step = state.next
    if not isinstance(step.action, TakeReading):
        return [step.action.reason]
    action = step.action
    return [action.position, pair_text(action.pair), action.lean, str(action.again), step.why]
