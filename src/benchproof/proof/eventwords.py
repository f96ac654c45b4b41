"""The kinds of text and number that events hold: when, by whom, which file, a person's words."""

from typing import Annotated

from msgspec import Meta

When = Annotated[
    str, Meta(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d)$")
]
"""Such as ``2026-03-02T14:05:09+01:00``."""
WhenIfAny = Annotated[
    str, Meta(pattern=r"^(\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:\d\d))?$")
]
"""The same; empty if it did not happen."""
Day = Annotated[str, Meta(pattern=r"^(\d{4}-\d\d-\d\d)?$")]
"""Such as ``2026-03-02``; empty if not known."""
Hash = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
"""SHA-256 of a file's content, in hexadecimal."""
Initials = Annotated[str, Meta(max_length=20)]
Name = Annotated[str, Meta(min_length=1, max_length=120)]
Words = Annotated[str, Meta(max_length=2000)]
"""What a person typed."""
HashIfAny = Annotated[str, Meta(pattern=r"^([0-9a-f]{64})?$")]
"""The SHA-256 of a file's content; empty if there is no such file."""
Angle = Annotated[float, Meta(ge=-3600.0, le=3600.0)]
"""In the family's unit of angle: degrees, or detent gaps where its detents are not known."""
LEAST_SPREAD = 1e-6
"""Nobody knows an angle better than this, in either unit."""
Spread = Annotated[float, Meta(ge=LEAST_SPREAD, le=3600.0)]
"""A standard uncertainty in the same unit."""
SpreadIfAny = Annotated[float, Meta(ge=0.0, le=3600.0)]
"""The same; zero where there is none."""
