"""A fixed set of 256 points that fill a cube evenly: the same ones every time, in 61 dimensions.

They are the first 256 points of Sobol's sequence with the direction numbers of Joe and Kuo
(2008), moved by half a step so that none lies on a face. They are kept as a table, because a
library that makes them costs half a second to load.
"""

from __future__ import annotations

import numpy as np

from bpvet.maths.gaussian import Array

POINTS = 256
MOST_DIMENSIONS = 61
_BITS = 8

#: Direction numbers, eight bytes a dimension.
_DIRECTIONS = np.frombuffer(
    bytes.fromhex(
        "804020100804020180c0a0f088ccaaff80c06090e85c8ec580c02050f874a293804020b0f8dc7a9d80406030"
        "c82456fb80c0a0d058943ee38040a0508824122d8040a05028d46a718040e0b098948a5b8040a010086c9e23"
        "8040203058ac962b80c0a050f88ce23380c0609038c442a3804020f0a8549a9d80c020d0d8c44685804020f0"
        "3814f66780c020f06864366d8040a05098f4aebb80c0e0b0b83cce4180c0e0d0683c8a51804060d0388c7e71"
        "80c0a09008646a8980c020d0488cd63980c02050d8f43e958040a0b098a47ad580c0a03018348a9d8040e0d0"
        "084c02b580c0e050684c76f780406090c874520380c0a0d0b8046e9780c0e03068ec222b80c0203028d48aff"
        "8040a050b8841aaf8040e07008f4f68b8040e09068f462df80c0605018dc423780c020f0f83462f580c0a0f0"
        "f8ec7e6180c020b0582c9af980c020b0d8ac8e098040e0f0a82ca22d80c0e030c87c824f80c02010982c06cd"
        "8040a09098543a9d80c0e0b00884b2b980c0603078249e4780c0e0b0789cee1b80406010587cc2e180402030"
        "b8ac72b180c0e07088444a4780c02050d8fcf6d58040605058ac6a8580c0a050e8445ead80c060b01804da09"
        "80402050889c2e0580c02050c83c3e67804020b058447e698040a0b04874c2e78040a0f098b4520780c0e070"
        "f84ca689"
    ),
    dtype=np.uint8,
).reshape(MOST_DIMENSIONS, _BITS)


def sobol_points(dimensions: int) -> Array:
    """Return the 256 points.

    Parameters
    ----------
    dimensions : int
        1 to 61.

    Returns
    -------
    (256, dimensions)
        Odd multiples of 1/512.

    Notes
    -----
    Source: Joe S, Kuo FY, SIAM J Sci Comput 2008;30:2635-54, in the order of Gray's code.
    """
    if not 1 <= dimensions <= MOST_DIMENSIONS:
        raise ValueError(f"1 to {MOST_DIMENSIONS} dimensions, not {dimensions}")
    index = np.arange(POINTS)
    bits = ((index ^ (index >> 1))[:, None] >> np.arange(_BITS)) & 1
    used = bits[:, None, :].astype(np.uint8) * _DIRECTIONS[:dimensions]
    return (np.bitwise_xor.reduce(used, axis=2) + 0.5) / POINTS
