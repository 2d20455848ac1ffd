"""A door under Atheris, which follows the branches of its reader (pip install atheris).

    python benchmarks/night_guided.py DOOR FINDINGS FOLDER -max_total_time=600

(from `tests/`) begins with the whole inputs of the door, which it writes into FOLDER,
keeps there what reached a new branch, and adds each new finding to FINDINGS. What
follows FOLDER are options of libFuzzer. The law is that of the test in
`arranging/test_any_input.py`. This finds rare signs that no table names, where the dice
of `night_inputs.py` find what tunes are made of.
"""

import json
import sys
import traceback
from hashlib import blake2b
from importlib import import_module
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]
LONGEST = 4000
"""Bytes of the longest input: longer ones take time and reach nothing new."""


def main() -> None:
    """Fuzz a door until libFuzzer is told to stop."""
    door, findings, folder = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    atheris = import_module("atheris")
    with atheris.instrument_imports(include=["harmonise"]):
        inputs, outcomes = (
            import_module("makers.inputs"),
            import_module("oracles.outcomes"),
        )
        import_module("harmonise.arranging.job")
    folder.mkdir(exist_ok=True)
    for given in inputs.wholes(door):
        if len(given.data) < LONGEST:
            name = blake2b(given.data, digest_size=8).hexdigest()
            (folder / name).write_bytes(given.data)
    known: set[object] = set()

    def try_one(data: bytes) -> None:
        try:
            outcomes.outcome(door, inputs.Input(data))
        except Exception as error:  # noqa: BLE001 (each is a finding)
            frames = traceback.extract_tb(error.__traceback__)[-2:]
            where = [f"{Path(own.filename).name}:{own.lineno}" for own in frames]
            if str(where) not in known:
                known.add(str(where))
                told = f"{type(error).__name__}: {error}"[:300]
                row = {"door": door, "error": told, "where": where, "bytes": data.hex()}
                with findings.open("a") as file:
                    file.write(json.dumps(row) + "\n")

    atheris.Setup(
        [sys.argv[0], str(folder), f"-max_len={LONGEST}", *sys.argv[4:]], try_one
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
