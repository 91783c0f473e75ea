"""Look into a built wheel: the types marker, the vectors, and nothing that does not belong."""

import sys
import zipfile


def main(path: str) -> int:
    """Complain about what is missing or too much; the exit status comes back."""
    names = zipfile.ZipFile(path).namelist()
    needed = [
        "dccwire/py.typed",
        "dccwire/instructions/later.py",
        "dccwire/vectors/function-groups.json",
        "dccwire/vectors/schema/packets.schema.json",
        "dccwire/vectors/recordings/harbour-morning.vcd",
        "dccwire/vectors/setups/harbour-sound.toml",
        "dccwire/vectors/setups/harbour-sound.csv",
    ]
    missing = [name for name in needed if name not in names]
    odd = [name for name in names if not name.startswith(("dccwire/", "dccwire-"))]
    odd += [name for name in names if "__pycache__" in name or name.startswith("dccwire/tests")]
    for name in missing:
        print(f"missing in the wheel: {name}")
    for name in odd:
        print(f"does not belong in the wheel: {name}")
    return 1 if missing or odd else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
