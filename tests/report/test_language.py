"""The papers in another language: every sentence is there, and what people typed stays as it is."""

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

from benchproof.family.danger import COVERED, DUTY, Signal
from benchproof.family.model import Role
from benchproof.judge.sheet import _DOUBTS
from benchproof.network.faults import single_faults
from benchproof.proof.accept import RULES
from benchproof.proof.events import (
    Check,
    GearChecked,
    Mistake,
    ProofOutcome,
    ReadingWithdrawn,
    Remarked,
)
from benchproof.proof.withdrawal import CAN_READ
from benchproof.report import paper
from benchproof.report.certificate import Certificate
from benchproof.report.certificate_of import origin
from benchproof.report.fault import READ_ON, SETTLED_BY
from benchproof.report.glyphs import MISSING_SAID
from benchproof.report.html import certificate_html
from benchproof.report.installer import _CAUTIONS
from benchproof.report.language import LANGUAGES, Language, language
from benchproof.report.pdf import certificate_pdf
from benchproof.report.tag import Tag, tag_pdf
from benchproof.report.text import certificate_text
from benchproof.report.worksheet import ASKED, BACK, CAUTIONS, HOW_TO, worksheet_csv, worksheet_pdf
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_family
from example_certificate import BY, LETTERHEAD, example_certificate, shipped_state

OTHERS = [code for code in LANGUAGES if code != "en"]
FOLDER = Path(paper.__file__).parent
FACT = re.compile(r"\{\w+\}")
ENGLISH = re.compile(
    r"\b(the|is|are|and|not|of|with|read|reads|was|by|this|it|in|to|under|over|closed|allowed)\b"
)
"""Words that no Spanish sentence has."""


def said_in_code() -> set[str]:
    """Return every text that a module of the report says, as it stands there."""
    found = set()
    for file in FOLDER.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and _name(node.func) == "say" and node.args:
                text = node.args[0]
                if isinstance(text, ast.Constant):
                    found.add(str(text.value))
    return found


def _name(called: ast.expr) -> str:
    return called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")


SAID = {
    *said_in_code(),
    *paper.RESULT_WORD.values(),
    *(*ASKED, *CAUTIONS, *HOW_TO, BACK, MISSING_SAID),
    *("part", "unit", *Signal),
}
TOLD = {
    *(rule.sentence.text for rule in RULES),
    *(one.text for one in (*_CAUTIONS, *_DOUBTS)),
    *(*SETTLED_BY.values(), READ_ON, COVERED, DUTY, *SETTLED_BY),
    *(outcome.replace("-", " ") for outcome in ProofOutcome),
    *(role.shown for role in Role if role.shown),
    *(mistake for mistake in Mistake),
    *(one.otherwise for one in CAN_READ if one.otherwise),
} - {"{note}", "{told}."}
"""Sentences from below; those that are nothing but a fact have none of their own."""


@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_is_there_with_its_facts(code: str) -> None:
    words = language(code)
    assert len(said_in_code()) > 100
    assert {text for text in SAID if text not in words.papers} == set()
    # A word may stand among those of the papers too.
    assert {text for text in TOLD if text not in words.told and text not in words.papers} == set()
    for table in (words.papers, words.told):
        for text, other in table.items():
            assert set(FACT.findall(text)) == set(FACT.findall(other)), text
            assert other.strip()


@pytest.mark.parametrize("code", OTHERS)
def test_every_fault_has_a_name(code: str) -> None:
    words = language(code)
    names = set()
    for name in shipped("families"):
        family = shipped_family(name)
        for fault in single_faults(family):
            names.add((fault.kind.value, words.tell(fault.told), fault.told))
    assert len(names) > 100
    left = {kind for kind, told, english in names if told == english}
    assert left == set()


def certificates() -> list[Certificate]:
    head = replace(LETTERHEAD, language="es")
    rejected = shipped_state(left={("A-E", "R"), ("G-H", "D"), ("J-K", "R")})
    many = shipped_state("valley-coded-7", left={("A-E", p) for p in "PRND321"})
    plain = shipped_state("valley-coded-7", left=None, named_meter=False)
    at = "2026-03-02T14:15:00+01:00"
    noted = shipped_state(left=None)
    for event in (
        GearChecked(at, BY, "M-2", Check.RESISTOR, 100.2, True, 100.0, 1.0),
        ReadingWithdrawn(at, BY, 5, "resbalado", Mistake.SLIP),
        Remarked(at, BY, "a mano"),
    ):
        noted = noted.after(event)
    unread = replace(plain, settings=(replace(plain.as_left, taken=plain.as_left.taken[:9]),))
    made = [
        example_certificate(rejected, head, outcome="repair"),
        example_certificate(many, head, outcome="repair"),
        example_certificate(plain, head, override_by="Mara", override_reason="prueba"),
        example_certificate(unread, head, outcome="abandoned"),
        example_certificate(noted, head, outcome="recheck"),
        example_certificate(shipped_state(found={("G-H", "N")}), head),
    ]
    item = replace(made[0].item, customer="Cliente", contact="portal 3", authorized_by="Jo")
    shop = replace(head, name="Taller", address="Calle 7", signer="Mara")
    return [
        replace(one, family_note="", item=item, letterhead=shop, remarks=one.remarks[:-1])
        for one in made
    ]


def test_nothing_is_left_in_english() -> None:
    for told in certificates():
        left = [
            line
            for line in certificate_text(told).splitlines()
            # Commands, and what people and files call things, are as they are.
            if ENGLISH.search(re.sub(r"benchproof [\w -]+|toward P|3 mm at the marks", "", line))
        ]
        assert left == []
        assert '<html lang="es">' in certificate_html(told)
        assert certificate_pdf(told).startswith(b"%PDF")


def test_the_safety_of_a_paper_does_not_depend_on_its_language() -> None:
    spanish = certificates()[0]
    english = replace(spanish, letterhead=LETTERHEAD)
    one, other = paper.paper_of(english), paper.paper_of(spanish)
    assert len(one.dangers) == len(other.dangers) > 1
    assert one.sign == other.sign == "!"
    assert [len(it.lines) for it in one.after] == [len(it.lines) for it in other.after]
    assert [len(it.lines) for it in one.before] == [len(it.lines) for it in other.before]
    assert all("49 CFR" in danger for danger in other.dangers)
    assert other.dangers[0].startswith("PELIGRO: el permiso de arranque G-H en D lee")


def test_what_people_typed_is_not_touched() -> None:
    words = language("es")
    typed = "open the part, it fails in D: read again and closed"
    assert words.tell(f"Remark by JB: {typed}") == f"Observación de JB: {typed}"
    assert words.tell(f"Work by JB: {typed}") == f"Trabajo de JB: {typed}"
    assert typed in words.say("OVERRIDE by {by}: {typed}", by="open", typed=typed)
    # What is not in the table stays whole, not half in one language.
    unknown = "a sentence that nobody has translated, and this is one of its parts"
    assert words.tell(unknown) == unknown
    assert words.tell("G-H in D") == "G-H en D"


def test_an_unknown_language_is_english() -> None:
    assert language("xx") == Language("en")
    assert language("en").tell("accepted") == "accepted"


@pytest.mark.parametrize("maker", ["original", "other", "unknown"])
@pytest.mark.parametrize("where", [(True, ""), (False, "C-77"), (False, "")])
def test_where_a_part_is_from(where: tuple[bool, str], maker: str) -> None:
    told = origin(where[0], where[1], maker)
    assert not ENGLISH.search(language("es").tell(told))
    assert "fabricante" in language("es").tell(told)


def test_tag_and_worksheet_speak_it_too() -> None:
    head = replace(LETTERHEAD, language="es")
    assert Tag("S-1", "part", letterhead=head).standing == "– NO PROBADA: no montar"
    assert tag_pdf(Tag("S-1", "part", letterhead=head)).startswith(b"%PDF")
    family = shipped_family("valley-coded-7")
    assert "Mida solo con la pieza desenchufada" in worksheet_csv(family, head)
    assert worksheet_pdf(family, head).startswith(b"%PDF")
    # The grid itself is the same, so that it is typed back all the same.
    grid = worksheet_csv(family, head).split("pins,")[1]
    assert grid == worksheet_csv(family).split("pins,")[1]


def test_work_and_other_proofs_are_told() -> None:
    words = language("es")
    told = words.tell(
        "Other proof S-1.1: repair, 2026-03-02 by JB; DANGER: G-H in D: 0.2 ohm ± 0.35 ohm, "
        "allowed is at least 10 kohm; risk under 0.01 %; against the chart: A-E in P: over-range, "
        "so above 40 Mohm; allowed is at most 2 ohm"
    )
    assert told == (
        "Otra prueba S-1.1: reparar, 2026-03-02 por JB; PELIGRO: G-H en D: 0.2 ohm ± 0.35 ohm, "
        "se admite al menos 10 kohm; riesgo menos del 0.01 %; contra la tabla: A-E en P: fuera de "
        "rango, por encima de 40 Mohm; se admite como mucho 2 ohm"
    )
