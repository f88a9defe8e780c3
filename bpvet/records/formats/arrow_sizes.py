"""What the compressed parts of an Arrow file claim to unpack to, before any of them is unpacked.

The library unpacks a whole batch at once, and ten megabytes can claim to be many gigabytes. Each
compressed buffer begins with its length when unpacked; where the buffers lie is said in messages
of the Arrow format (columnar format 1.x, "Encapsulated message format"), which are flatbuffers.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

_CONTINUES = b"\xff\xff\xff\xff"
_DICTIONARY, _BATCH = 2, 3


def unpacked_bytes(data: bytes, start: int) -> tuple[int, int]:
    """Return the bytes that all buffers unpack to, and how many batches of rows there are.

    Parameters
    ----------
    data : bytes
        An Arrow file or stream.
    start : int
        Where the first message begins: 8 in a file, 0 in a stream.

    Raises
    ------
    ValueError
        The messages are not what they should be.
    """
    total = batches = 0
    try:
        for kind, table, body in _messages(data, start):
            if kind == _DICTIONARY:
                table = _followed(data, _field(data, table, 1))
            batches += kind == _BATCH
            compressed = _field(data, table, 3) != 0
            for offset, length in _buffers(data, table):
                claimed = length
                if compressed and length > 8:
                    claimed = struct.unpack_from("<q", data, body + offset)[0]
                # A length of -1 is for a buffer that was left as it was.
                total += max(claimed, length)
    except struct.error:
        raise ValueError("a message of the Arrow format points outside the file") from None
    return total, batches


def _messages(data: bytes, start: int) -> Iterator[tuple[int, int, int]]:
    """Yield the kind of each batch, the place of its table, and the place of its body."""
    offset = start
    while data[offset : offset + 4] == _CONTINUES:
        size = struct.unpack_from("<i", data, offset + 4)[0]
        if size <= 0:
            return
        message = _followed(data, offset + 8)
        kind_at, header_at, length_at = (_field(data, message, i) for i in (1, 2, 3))
        body = offset + 8 + size
        kind = struct.unpack_from("<B", data, kind_at)[0] if kind_at else 0
        if kind in (_DICTIONARY, _BATCH) and header_at:
            yield kind, _followed(data, header_at), body
        length = struct.unpack_from("<q", data, length_at)[0] if length_at else 0
        if length < 0:
            raise ValueError("a message of the Arrow format has a negative length")
        offset = body + length


def _buffers(data: bytes, table: int) -> Iterator[tuple[int, int]]:
    """Yield the place in the body and the length of each buffer of a batch."""
    at = _field(data, table, 2)
    if not at:
        return
    vector = _followed(data, at)
    (count,) = struct.unpack_from("<I", data, vector)
    for i in range(count):
        yield struct.unpack_from("<qq", data, vector + 4 + 16 * i)


def _followed(data: bytes, offset: int) -> int:
    """Return where an offset at a place leads."""
    return offset + int(struct.unpack_from("<I", data, offset)[0])


def _field(data: bytes, table: int, number: int) -> int:
    """Return the place of a field of a table, 0 where the table does not have it."""
    index = table - struct.unpack_from("<i", data, table)[0]
    (size,) = struct.unpack_from("<H", data, index)
    if 4 + 2 * number >= size:
        return 0
    (offset,) = struct.unpack_from("<H", data, index + 4 + 2 * number)
    return table + int(offset) if offset else 0
