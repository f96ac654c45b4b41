"""Meter and leads at the screen of a proof: chosen, nulled, checked, each before it is read."""

from benchproof.web.finding import number_typed
from benchproof.web.forms import PageRequest, screen
from benchproof.web.metering import check_resistor, choose_gear, look_for_voltage, null_leads
from benchproof.web.pages.proof import by_whom, doing


def _choose(asked: PageRequest) -> str:
    lead, ambient = asked.text("lead_ohm", 40), asked.text("ambient_c", 40)
    return choose_gear(
        asked.site,
        asked.path("tag"),
        by_whom(asked),
        asked.text("meter", 120),
        asked.text("bench", 120),
        number_typed(lead, "what the leads read, ohms") if lead else None,
        number_typed(ambient, "how warm it is at the meter, °C") if ambient else None,
    )


def _leads(asked: PageRequest) -> str:
    return null_leads(asked.site, asked.path("tag"), by_whom(asked), asked.text("values", 200))


def _resistor(asked: PageRequest) -> str:
    return check_resistor(
        asked.site,
        asked.path("tag"),
        by_whom(asked),
        asked.text("known", 40),
        asked.text("value", 40),
        asked.text("limit", 40),
    )


def _voltage(asked: PageRequest) -> str:
    return look_for_voltage(asked.site, asked.path("tag"), by_whom(asked))


ROUTES = (
    screen("/proof/{tag}/meter", post=doing(_choose)),
    screen("/proof/{tag}/leads", post=doing(_leads)),
    screen("/proof/{tag}/resistor", post=doing(_resistor)),
    screen("/proof/{tag}/voltage", post=doing(_voltage)),
)
