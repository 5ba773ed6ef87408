#!/usr/bin/env python3
"""Make the zip that the plugin repository of QGIS takes: .ci/package.py [--draft] [inslab.zip]

It holds the files that git knows, without those of development, and is the same to the last bit for the same files. A version that
cannot be published yet (placeholders for addresses, a changelog that says "not released") is refused unless it is called a draft.
"""

import argparse
import configparser
import re
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = "inslab"
# What the plugin repository of QGIS asks for (its page on publishing), as known in 2026; the largest size and the programs it
# refuses as well.
REQUIRED = (
    *("name", "description", "about", "version", "qgisMinimumVersion", "author", "email"),
    *("homepage", "tracker", "repository"),
)
LARGEST_BYTES = 20 * 2**20
PROGRAMS = (
    b"\x7fELF",
    b"MZ",
    b"\xcf\xfa\xed\xfe",
    b"\xfe\xed\xfa\xcf",
    b"\xca\xfe\xba\xbe",
    b"PK\x03\x04",
    b"\x1f\x8b",
)
LONGEST_PATH = 120  # Windows allows 260 characters, and the folder of a profile takes about 100 of them


def files_of(root):
    """Paths of the files of the zip, seen from `root` and in order."""
    try:
        command = ["git", "ls-files", "-z"]
        said = subprocess.run(command, cwd=root, capture_output=True, check=True).stdout  # noqa: S603
        found = [Path(name) for name in said.decode().split("\0") if name]
    except (OSError, subprocess.CalledProcessError):  # a copy without git
        found = [path.relative_to(root) for path in root.rglob("*") if path.is_file()]
    # Named once, for `git archive` and for this.
    attributes = (ROOT / ".gitattributes").read_text(encoding="utf-8").splitlines()
    left_out = {Path(line.split()[0]) for line in attributes if line.split()[1:] == ["export-ignore"]}
    return sorted(path for path in found if (root / path).is_file() and not _is_left_out(path, left_out))


def _is_left_out(path, left_out):
    hidden = any(part.startswith(".") or part == "__pycache__" for part in path.parts)
    return hidden or path.suffix in (".pyc", ".zip") or bool(left_out & {path, *path.parents})


def problems(root, draft=False):
    """Sentences that say what the plugin repository, or a user, would trip over; empty where there is nothing."""
    text = (root / "metadata.txt").read_text(encoding="utf-8")
    if "%" in text:  # QGIS reads it with interpolation
        return ["metadata.txt holds a per cent sign, on which QGIS stumbles."]
    reader = configparser.ConfigParser()
    reader.optionxform = str
    reader.read_string(text)
    metadata = dict(reader["general"])
    said = [f"metadata.txt lacks {key}." for key in REQUIRED if not metadata.get(key, "").strip()]
    if said:
        return said
    if not re.fullmatch(r"(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)", metadata["version"]):
        said.append("The version is not three numbers with dots (https://semver.org).")
    if not (root / metadata.get("icon", "")).is_file():
        said.append("The icon that metadata.txt names is missing.")
    lowest, highest = (_numbers(metadata.get(key, "")) for key in ("qgisMinimumVersion", "qgisMaximumVersion"))
    if lowest != (3, 22) or not lowest < highest < (4,):
        said.append("qgisMinimumVersion must be 3.22 and qgisMaximumVersion a 3.x: QGIS 4 is not tested.")
    if re.search(r"plugin|qgis", metadata["name"], re.IGNORECASE):
        said.append("The name of a plugin says neither 'plugin' nor 'QGIS'.")
    if re.search(r"<\w", text):
        said.append("metadata.txt holds HTML.")
    heading = re.search(r"^## (.*)$", (root / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    entry = heading.group(1) if heading else ""
    if entry.split(" ")[0] != metadata["version"] or not metadata.get("changelog", "").startswith(metadata["version"]):
        said.append(f"CHANGELOG.md and changelog= must begin with {metadata['version']}; the former says '{entry}'.")
    if not (root / "LICENSE").is_file():
        said.append("LICENSE is missing.")
    if not draft:
        # RFC 2606 keeps these names for examples.
        invented = [key for key in ("email", "homepage", "tracker", "repository") if _is_invented(metadata[key])]
        said += [f"{key} in metadata.txt is a placeholder: give an address that answers." for key in invented]
        if "not released" in entry:
            said.append("CHANGELOG.md says that this version is not released: give its date.")
    return said + [sentence for path in files_of(root) for sentence in _problems_of_file(root, path)]


def _numbers(version):
    return tuple(int(number) for number in re.findall(r"\d+", version))


def _is_invented(address):
    host = address.split("@")[-1].split("//")[-1].split("/")[0]
    return bool(re.search(r"(^|\.)(example|invalid|test|localhost)(\.(com|net|org))?$", host))


def _problems_of_file(root, path):
    name = path.as_posix()
    if (root / path).read_bytes()[:4].startswith(PROGRAMS):
        yield f"{name} is a program or an archive, which the plugin repository refuses."
    if len(name) > LONGEST_PATH or re.search(r'[:*?"<>|\\]|[. ]$', name):
        yield f"{name} cannot be the name of a file on Windows."


def write_zip(root, target):
    """Writes the zip; raises `ValueError` where it is too large."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in files_of(root):
            entry = zipfile.ZipInfo(f"{PACKAGE}/{path.as_posix()}")  # of 1980, as long as nothing else is said
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, (root / path).read_bytes())
    size = Path(target).stat().st_size
    if size > LARGEST_BYTES:
        raise ValueError(f"{target} has {size / 2**20:.1f} MB; the plugin repository takes 20.")
    return size


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draft", action="store_true", help="not for the public: placeholders are taken")
    parser.add_argument("zip", nargs="?", type=Path, default=ROOT / f"{PACKAGE}.zip")
    given = parser.parse_args()
    said = problems(ROOT, given.draft)
    if said:
        sys.exit("\n".join(said))
    size = write_zip(ROOT, given.zip)
    print(f"{given.zip}: {len(files_of(ROOT))} files, {size / 2**20:.2f} MB")


if __name__ == "__main__":
    main()
