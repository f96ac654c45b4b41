"""How deep JSON is nested, before a parser that recurses reads it."""

import re

_TOKEN = re.compile(
    # An unfinished text goes to the end, so that nothing is looked at twice.
    rb'"(?:[^"\\]++|\\.)*+(?:"|\\?\Z)|[\[\]{}]',
    re.DOTALL,
)


def nested_deeper(data: bytes | bytearray, most: int) -> bool:
    """Return whether brackets stand in more than so many others.

    Parameters
    ----------
    data : bytes or bytearray
        JSON, right or wrong.
    most : int
        How deep it may be; 1 is an object of plain values.

    Examples
    --------
    >>> nested_deeper(b'{"a": [1, "[[[["]}', 2), nested_deeper(b'{"a": [[1]]}', 2)
    (False, True)
    """
    deep = 0
    for match in _TOKEN.finditer(data):
        mark = match[0]
        if mark in (b"[", b"{"):
            deep += 1
            if deep > most:
                return True
        elif mark in (b"]", b"}"):
            deep -= 1
    return False
