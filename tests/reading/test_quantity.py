"""Numbers with another unit beside them."""

import pytest

from benchproof.reading.quantity import UNITS, parse_quantity


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1,5", "deg", 1.5),
        ("-3.2 deg", "deg", -3.2),
        ("\N{MINUS SIGN}3,2°", "deg", -3.2),
        ("1.2k", "ohm", 1200.0),
        ("0,3 ohm", "ohm", 0.3),
        # NIST SP 811, B.8, from memory: 1 mile = 1.609344 km exactly.
        ("75000 mi", "km", 120700.8),
        ("75000 Miles", "km", 120700.8),
        # The fixed points of water: 32 °F is 0 °C, 212 °F is 100 °C (NIST SP 811, from memory).
        ("32 F", "°C", 0.0),
        ("212 °F", "°C", 100.0),
        ("-40F", "°C", -40.0),
        ("1.8 F", "K", 1.0),
        # NIST SP 811, B.8, from memory: 1 psi = 6.894757 kPa.
        ("10 psi", "kPa", 68.94757),
        ("0,5", "", 0.5),
    ],
)
def test_what_is_understood(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("unit", [*UNITS, "ohm"])
@pytest.mark.parametrize("text", ["nan", "inf", "", "five", "3 parsecs", "1,200", "--1"])
def test_what_is_not_gets_one_sentence(text: str, unit: str) -> None:
    with pytest.raises(ValueError, match=r"^[^\n]+$"):
        parse_quantity(text, unit)
