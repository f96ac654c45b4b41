"""How probabilities are told."""

import re
from pathlib import Path

import pytest

import benchproof
from benchproof.family.sentence import percent, risk_percent


@pytest.mark.parametrize("probability", [0.9901, 0.998, 0.99999, 1.0])
def test_no_percentage_is_nearer_to_certainty_than_over_99(probability: float) -> None:
    assert percent(probability) == "over 99 %"
    assert risk_percent(probability) == "over 99 %"


def test_no_other_code_makes_percentages_of_probabilities() -> None:
    source = Path(benchproof.__file__).parent
    made = re.compile(r"\{[^{}]*:\.?\d*%\}|100(\.0)? \* [^\n]*\} ?%")
    found = {
        path.relative_to(source).as_posix()
        for path in source.rglob("*")
        if path.suffix in (".py", ".html") and made.search(path.read_text(encoding="utf-8"))
    }
    # A tolerance of a resistor is no probability; a replay shows differences of a millionth.
    assert found == {"family/sentence.py", "report/wiringtables.py", "proof/replay.py"}
