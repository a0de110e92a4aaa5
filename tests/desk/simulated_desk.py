"""Run the desk with audio devices that hear what they play (see bench/record): made by code, or a real stream."""

import json
import sys
from pathlib import Path

from obbligato.desk.server import serve

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
    from record.loopback import LoopLibrary
    from record.simulated import Faults, SimulatedLibrary

    given = json.loads(sys.argv[3])
    faults = {name: tuple(map(tuple, v)) if name == "lost" else v for name, v in given.get("faults", {}).items()}
    serve(
        Path(sys.argv[1]),
        port=int(sys.argv[2]),
        open_page=False,
        tell=lambda address: print(address, flush=True),
        library=LoopLibrary()
        if given.get("loopback")
        else SimulatedLibrary(speed=given.get("speed", 1.0), faults=Faults(**faults)),
    )
