"""Spoils files guided by which code they reach, and checks that each is read right or refused with a sentence.

    .venv/bin/python tests/hostile/fuzz_files.py 10000

The guide is atheris (libFuzzer): it changes the seeds and keeps what reaches new branches of the readers in processing/survey.
Where it does not install, changes are made blindly from the same seeds. What must hold stands in tests/helpers/hostile.py; the
first file that breaks it ends the run, and libFuzzer keeps it as crash-*.
"""

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "helpers"))
import conftest  # noqa: F401 - makes the package importable

try:
    import atheris
except ImportError:
    atheris = None


def load():
    """The checks, with the readers instrumented where atheris is there."""
    if atheris is None:
        import hostile
    else:
        with atheris.instrument_imports(include=["inslab.processing.survey"]):
            import hostile
    return hostile


def main(count: int) -> None:
    hostile = load()
    kinds = list(hostile.KINDS)
    with tempfile.TemporaryDirectory() as temporary:
        folder, corpus = Path(temporary) / "survey", Path(temporary) / "corpus"
        folder.mkdir()
        corpus.mkdir()
        seeds = hostile.seeds(folder)
        for number, (kind, content) in enumerate(seeds):
            (corpus / f"{number:03d}").write_bytes(bytes([kinds.index(kind)]) + content)
        hostile.prepare(folder)
        kept = {name: (folder / name).read_bytes() for name in hostile.KINDS.values() if (folder / name).exists()}
        seen = Counter()

        def one(data: bytes) -> None:
            data = data or b"\0"
            kind = kinds[data[0] % len(kinds)]
            sentence = hostile.check(kind, data[1:], folder)
            seen["refused" if sentence else "read"] += 1
            name = hostile.KINDS[kind]
            if name in kept:
                (folder / name).write_bytes(kept[name])
            if sum(seen.values()) == count:
                print(f"{count} files: {dict(seen)}", flush=True)

        if atheris is None:
            chance = random.Random(1)  # noqa: S311 - changes, no secrets
            for _ in range(count):
                kind, content = chance.choice(seeds)
                one(bytes([kinds.index(kind)]) + spoil(bytearray(content), chance))
            return
        flags = [f"-runs={count}", "-seed=1", "-max_len=20000", "-len_control=0", "-timeout=30", "-verbosity=0"]
        atheris.Setup([sys.argv[0], *flags, str(corpus)], one)
        atheris.Fuzz()


def spoil(content: bytearray, chance: random.Random) -> bytes:
    """A few bytes changed, a piece taken out, doubled or cut off."""
    for _ in range(chance.randint(1, 8)):
        if not content:
            break
        at = chance.randrange(len(content))
        kind = chance.randrange(5)
        if kind < 2:
            content[at] = chance.randrange(256)
        elif kind == 2:
            del content[at : at + chance.randint(1, 200)]
        elif kind == 3:
            content[at:at] = content[at : at + chance.randint(1, 200)]
        elif chance.random() < 0.2:
            del content[at:]
    return bytes(content)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10000)
