"""Write a small PNG: up to 256 colours chosen by median cut, so that a picture of a window takes few bytes."""

import struct
import zlib

import numpy as np

COLOURS = 256
# Colours are counted in cells of this many bits a channel; finer differences are not seen in a small picture.
BITS = 6


def write_png(path, pixels):
    """Write pixels (rows, columns, 3) uint8, the first row on top, as a PNG with a palette."""
    pixels = np.ascontiguousarray(np.asarray(pixels, dtype=np.uint8)[..., :3])
    rows, columns = pixels.shape[:2]
    palette, index = _palette(pixels.reshape(-1, 3))
    lines = np.zeros((rows, columns + 1), dtype=np.uint8)
    lines[:, 1:] = index.reshape(rows, columns)
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)),
        (b"PLTE", palette.tobytes()),
        (b"IDAT", zlib.compress(lines.tobytes(), 9)),
        (b"IEND", b""),
    )
    with open(path, "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n")
        for kind, data in parts:
            file.write(struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)))


def _palette(flat):
    """Give the palette (k, 3) uint8 and which of its colours each pixel takes."""
    cells = flat >> (8 - BITS)
    key = (cells[:, 0].astype(np.int64) << (2 * BITS)) | (cells[:, 1].astype(np.int64) << BITS) | cells[:, 2]
    _, cell, counts = np.unique(key, return_inverse=True, return_counts=True)
    sums = np.stack([np.bincount(cell, weights=flat[:, k]) for k in range(3)], axis=1)
    means = sums / counts[:, None]
    boxes = [np.arange(len(counts))]
    while len(boxes) < COLOURS:
        # The box whose colours lie widest apart, a little more so where many pixels have them.
        spread = [np.ptp(means[box], axis=0).max() * counts[box].sum() ** 0.25 for box in boxes]
        widest = int(np.argmax(spread))
        if spread[widest] == 0.0:
            break
        box = boxes.pop(widest)
        order = box[np.argsort(means[box, np.argmax(np.ptp(means[box], axis=0))], kind="stable")]
        share = np.cumsum(counts[order]) / counts[order].sum()
        cut = min(max(int(np.searchsorted(share, 0.5)), 1), len(order) - 1)
        boxes += [order[:cut], order[cut:]]
    of_cell = np.empty(len(counts), dtype=np.uint8)
    palette = np.empty((len(boxes), 3), dtype=np.uint8)
    for number, box in enumerate(boxes):
        of_cell[box] = number
        palette[number] = np.round(np.average(means[box], axis=0, weights=counts[box]))
    return palette, of_cell[cell.ravel()]
