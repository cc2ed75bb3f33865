"""Look into a wheel and its sdist: `python tests/package.py WHEEL SDIST`.

Does the wheel hold all of the package and nothing else, and say what it is?
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from email import message_from_bytes
from pathlib import Path

ROOT = Path(__file__).parents[1]
# Core metadata (PyPA core metadata specification 2.4) an index page or pip makes use of.
FIELDS = [
    "Name",
    "Version",
    "Summary",
    "Description-Content-Type",
    "License-Expression",
    "License-File",
    "Requires-Python",
    "Author",
    "Keywords",
    "Classifier",
    "Requires-Dist",
]


def tracked(*folders: str) -> set[str]:
    """Return the files git knows below the folders."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", *folders],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    return {name for name in listed.split("\0") if name}


def faults_of(wheel: Path, sdist: Path) -> list[str]:
    """Return what is wrong, one sentence each."""
    with zipfile.ZipFile(wheel) as archive:
        names = {name for name in archive.namelist() if not name.endswith("/")}
        told = next(name for name in names if name.endswith(".dist-info/METADATA"))
        metadata = message_from_bytes(archive.read(told))
    inside = {name for name in names if ".dist-info/" not in name}
    with tarfile.open(sdist) as source:
        packed = {member.name.partition("/")[2] for member in source if member.isfile()}
    faults = [f"the wheel lacks {name}" for name in sorted(tracked("marquee") - inside)]
    faults += [f"the wheel holds {name}" for name in sorted(inside - tracked("marquee"))]
    faults += [f"the metadata lacks {field}" for field in FIELDS if not metadata[field]]
    faults += ["the wheel has no long description"] * (len(metadata.get_payload()) < 1000)
    faults += ["the wheel is not marked as typed"] * ("marquee/py.typed" not in inside)
    if not any(name.endswith(".dist-info/licenses/LICENSE") for name in names):
        faults.append("the wheel has no licence")
    wanted = tracked("marquee", "palettes") | {"LICENSE", "README.md", "pyproject.toml"}
    return faults + [f"the sdist lacks {name}" for name in sorted(wanted - packed)]


if __name__ == "__main__":
    found = faults_of(Path(sys.argv[1]), Path(sys.argv[2]))
    print("\n".join(found) or "the package holds what it should")
    sys.exit(bool(found))
