"""Files that detect damage to themselves.

A sealed file holds, near its beginning, ``sha256:`` and 64 digits: the digest of a description of
the file and of all its bytes, the 64 digits counted as zeros. A changed byte, missing bytes, and a
file put in the place of another are all found by reading the file once, before it is parsed.
"""

from __future__ import annotations

import hashlib
import re
from typing import BinaryIO

SEALED_BY = b"sha256:"
UNSEALED = f"{SEALED_BY.decode()}{'0' * 64}"
"""Placeholder in a file before it is sealed."""
_MARK = re.compile(SEALED_BY + rb"([0-9a-f]{64})")
_HEAD = 4096
_BLOCK = 1 << 20


def seal(file: BinaryIO, what: str) -> None:
    """Write the digest into an open file, in place of ``UNSEALED``."""
    found = _read(file, what)
    if found is None:
        raise ValueError(f"{what}: no place for a digest")
    place, _, digest = found
    file.seek(place)
    file.write(digest)


def is_whole(file: BinaryIO, what: str) -> bool:
    """Whether an open file is unchanged since it was sealed as ``what``."""
    found = _read(file, what)
    return found is not None and found[1] == found[2]


def _read(file: BinaryIO, what: str) -> tuple[int, bytes, bytes] | None:
    """Place of the digest in a file, the digest found there, and the correct one."""
    file.seek(0)
    head = file.read(_HEAD)
    mark = _MARK.search(head)
    if mark is None:
        return None
    start, stop = mark.span(1)
    sha = hashlib.sha256(what.encode() + b"\0")
    sha.update(head[:start] + b"0" * (stop - start) + head[stop:])
    while block := file.read(_BLOCK):
        sha.update(block)
    return start, mark[1], sha.hexdigest().encode()
