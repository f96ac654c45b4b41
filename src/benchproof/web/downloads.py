"""Files that are sent to the browser."""

from starlette.responses import Response

_SAFE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.")


def pdf(content: bytes, name: str) -> Response:
    """Return a PDF that the browser shows, from where it can be printed."""
    return _sent(content, name, "application/pdf", "inline")


def saved(content: bytes, name: str, media_type: str) -> Response:
    """Return a file that the browser saves."""
    return _sent(content, name, media_type, "attachment")


def _sent(content: bytes, name: str, media_type: str, how: str) -> Response:
    plain = "".join(letter if letter in _SAFE else "_" for letter in name)
    headers = {"content-disposition": f'{how}; filename="{plain}"'}
    return Response(content, media_type=media_type, headers=headers)
