"""The audit: a table of rules, each with its condition and its sentence side by side."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from benchproof.family.audit import checks
from benchproof.family.audit.checks import Facts
from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.danger import LAMP_RULE, ORDER_RULE, STARTER_RULE
from benchproof.family.model import Family
from benchproof.family.remembered import once_a_family


@dataclass(frozen=True)
class Rule:
    """One thing to check.

    Attributes
    ----------
    name : str
        Its name.
    severity : Severity
        How bad what it finds is.
    sentence : str
        What it says, with the condition's facts in braces.
    find : callable
        The condition: the facts of each case found in a family with a completed chart.
    consistency : bool
        Whether a chart without misprints has none: what a misprint's correction must clear.
    unusable : bool
        Whether a chart with one cannot be judged against.
    unfit : bool
        Whether no part can be proved against a chart with one.
    """

    name: str
    severity: Severity
    sentence: str
    find: Callable[[Family], Iterable[Facts]]
    consistency: bool = False
    unusable: bool = False
    unfit: bool = False

    def findings(self, family: Family) -> list[Finding]:
        """Return what the rule finds in a family."""
        return [
            Finding(self.name, self.severity, facts["place"], self.sentence.format_map(facts))
            for facts in self.find(family)
        ]


E, W, N = Severity.ERROR, Severity.WARNING, Severity.NOTE

RULES = (
    Rule(
        "start-outside",
        E,
        "{pair} is the start permit and is charted {text} in {position}, which is taken as {role}, "
        f"neither park nor neutral: the engine could be cranked in gear ({STARTER_RULE}).",
        checks.start_outside,
        consistency=True,
        unfit=True,
    ),
    Rule(
        "same-pair-twice",
        E,
        "{pair} stands in more than one row ({places}); keep one.",
        checks.same_pair_twice,
        unusable=True,
    ),
    Rule(
        "limits-crossed",
        E,
        "closed reaches up to {closed}, but open begins at {open}; set closed_at_most below "
        "open_at_least.",
        checks.limits_crossed,
        unusable=True,
    ),
    Rule(
        "low-above-high",
        E,
        "{cell} is charted {text}: its low limit is above its high limit; swap them.",
        checks.low_above_high,
        unusable=True,
    ),
    Rule(
        "nominal-outside",
        E,
        "{cell} is charted {text}: its own limits exclude the value.",
        checks.nominal_outside,
    ),
    Rule(
        "contradiction",
        E,
        "{cell} is charted {text}, but {way} leave it at most {most}; one of them is wrong.",
        checks.contradiction,
        consistency=True,
    ),
    Rule(
        "code-against-chart",
        E,
        "{pair} in {position} is charted {text}, but the range code's word {word} wants it "
        "{wants}.",
        checks.code_against_chart,
        consistency=True,
    ),
    Rule(
        "transit-declared-as-range",
        E,
        "the range code gives the word {word} to {position} and lists it as a transit word too.",
        checks.transit_declared_as_range,
    ),
    Rule(
        "reverse-outside",
        E,
        "{pair} is the reverse lamp and is charted {text} in {position}: lamps lit outside reverse "
        f"mislead those behind ({LAMP_RULE}).",
        checks.reverse_outside,
        consistency=True,
    ),
    Rule(
        "start-outside-answered-for",
        W,
        "{pair} is the start permit and is charted {text} in {position}; a part that conducts "
        "there is never accepted, though somebody says that the chart is right: {reason}.",
        checks.answered_for,
    ),
    Rule(
        "not-told",
        W,
        "{question} Proposed: {proposal}.",
        checks.questions,
    ),
    Rule(
        "start-missing",
        W,
        "{position} has no start permit: {pair} is charted {text} there, so the engine would not "
        "start.",
        checks.start_missing,
        consistency=True,
    ),
    Rule(
        "reverse-missing",
        W,
        "{position} has no reverse lamp: {pair} is charted {text} there.",
        checks.reverse_missing,
        consistency=True,
    ),
    Rule(
        "words-alike",
        W,
        "{position} and {second} have the same range word {word}: the controller cannot tell them "
        "apart.",
        checks.words_alike,
        consistency=True,
    ),
    Rule(
        "parity-odd-one",
        W,
        "the word of {position} ({word}) is the only one without {parity} parity: likely a "
        "misprint in one bit.",
        checks.parity_odd_one,
        consistency=True,
    ),
    Rule(
        "levels-overlap",
        W,
        "{pair} is charted {text} in {position} and {other} in {second}: one reading could be "
        "either.",
        checks.levels_overlap,
    ),
    Rule(
        "positions-alike",
        W,
        "{first} and {second} read alike in every pair: no reading tells them apart.",
        checks.positions_alike,
    ),
    Rule(
        "thousandfold",
        W,
        "{cell} is charted {text}; {other} is a thousandth or a thousandfold of it: "
        "check the unit.",
        checks.thousandfold,
    ),
    Rule(
        "not-preferred",
        W,
        "{cell} is charted {text}, no preferred value of the E24 series (IEC 60063) "
        "while all others are; the nearest is {near}.",
        checks.not_preferred,
    ),
    Rule(
        "one-fault-apart",
        W,
        "{first} and {second} differ in one range bit only: with {pair} stuck one reads as the "
        "other, and nothing reveals it.",
        checks.one_fault_apart,
    ),
    Rule(
        "transit-is-range",
        W,
        "between {first} and {second} the controller sees {seen} ({word}) with {early} ahead of "
        "{late}.",
        checks.transit_is_range,
    ),
    Rule(
        "neutral-not-between",
        W,
        "{position} does not lie between reverse and the forward positions "
        f"({ORDER_RULE}): check the order of the positions.",
        checks.neutral_not_between,
    ),
    Rule(
        "never-changes",
        N,
        "{pair} is charted {text} in every position: it says nothing of the lever.",
        checks.never_changes,
    ),
    Rule(
        "several-changes",
        N,
        "more than one range contact changes between {gaps}.",
        checks.several_changes,
    ),
    Rule(
        "transit-unknown",
        N,
        "words that the code lists neither as a range nor as a transit can occur between {gaps}.",
        checks.transit_unknown,
    ),
    Rule(
        "single-faults-revealed",
        N,
        "every two range words differ in at least {distance} bits: a single wrong bit never reads "
        "as another range.",
        checks.single_faults_revealed,
    ),
    Rule(
        "parity-same",
        N,
        "all range words have {parity} parity, so a single wrong bit is always revealed.",
        checks.parity_same,
    ),
)


@once_a_family
def unusable(family: Family) -> tuple[Finding, ...]:
    """Return the findings with which a chart cannot be judged against."""
    return tuple(found for rule in RULES if rule.unusable for found in rule.findings(family))


@once_a_family
def unfit(family: Family) -> tuple[Finding, ...]:
    """Return the findings with which no part can be proved against a chart, until it is mended."""
    return tuple(found for rule in RULES if rule.unfit for found in rule.findings(family))
