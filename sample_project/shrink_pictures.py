"""Store PNG pictures with a palette, which makes them small: shrink_pictures.py FOLDER"""

import sys
from pathlib import Path

from PIL import Image

COLOURS = 256


def shrink(path: Path) -> None:
    """Replace one picture by the same one with at most `COLOURS` colours."""
    with Image.open(path) as picture:
        if picture.mode == "P":
            return
        # This method keeps rare colours, and a verdict or a kind of item is one: median cut turned amber into red.
        method = Image.Quantize.LIBIMAGEQUANT
        small = picture.convert("RGB").quantize(COLOURS, method=method, dither=Image.Dither.NONE)
    small.save(path, optimize=True)


if __name__ == "__main__":
    for found in sorted(Path(sys.argv[1]).glob("*.png")):
        shrink(found)
        print(f"{found.name:24}{found.stat().st_size / 1000:8.0f} kB")
