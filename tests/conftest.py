"""How Hypothesis runs, how it spoils good files, and a time-out."""

import os
import signal
from collections.abc import Callable, Iterator
from types import FrameType

import pytest
from hypothesis import settings
from hypothesis import strategies as st

# Workers share the cores; threads of each would only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The same examples every time, in a workshop and under CI, however long each takes.
settings.register_profile("same", deadline=None, derandomize=True)
# pytest --hypothesis-profile=hunt tests/family/test_any_bytes.py
settings.register_profile("hunt", deadline=None, max_examples=20_000)
settings.load_profile("same")

PIECES = (
    *(b"\n", b"\r\n", b"\r", b"\0", b"\x1b[31m", b"\xff", b"\xef\xbb\xbf", b"\xe2\x80\xa8"),
    *(b"'", b'"', b'"""', b"[", b"]", b"{", b"}", b"=", b",", b";", b"\t", b"#", b"\\", b"%"),
    *(b"nan", b"inf", b"-1", b"0", b"1e999", b"1e-400", b"9" * 50, b"9" * 5000, b"true"),
    *(b"1979-05-27", b"[[chart]]", b"[chart.x]", b"a.b", b"case", b"ohm", b"1,200", b" ", b"x"),
)
"""What a careless hand, a wrong program or a malicious one puts into a file."""


@st.composite
def spoilt(draw: st.DrawFn, content: bytes) -> bytes:
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(content)))
        until = min(len(content), at + draw(st.sampled_from((1, 1, 3, 30))))
        match draw(st.sampled_from(("flip", "insert", "replace", "delete", "double", "lines"))):
            case "flip":
                byte = draw(st.integers(0, 255))
                content = content[:at] + bytes([byte]) + content[at + 1 :]
            case "insert":
                content = content[:at] + draw(st.sampled_from(PIECES)) + content[at:]
            case "replace":
                content = content[:at] + draw(st.sampled_from(PIECES)) + content[until:]
            case "delete":
                content = content[:at] + content[until:]
            case "double":
                content = content[:until] + content[at:until] + content[until:]
            case _:
                lines = content.split(b"\n")
                moved = lines.pop(draw(st.integers(0, len(lines) - 1)))
                if draw(st.booleans()):
                    lines.insert(draw(st.integers(0, len(lines))), moved)
                content = b"\n".join(lines)
    return content


@pytest.fixture(scope="session", autouse=True)
def own_folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep the keys and archives that tests make away from those of whoever runs them."""
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("own"))


@pytest.fixture(scope="session")
def spoil() -> Callable[[bytes], st.SearchStrategy[bytes]]:
    """Strategies of files that were good before they were edited a few times."""
    return spoilt


MOST_S = 60


@pytest.fixture
def limited() -> Iterator[None]:
    """End a test that hangs."""

    def late(_: int, __: FrameType | None) -> None:
        raise AssertionError(f"this took more than {MOST_S} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(MOST_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)
