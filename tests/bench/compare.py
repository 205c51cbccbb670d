"""The engine beside another packer on the open instances, in turn, with published figures; prints one table.

    python tests/bench/compare.py --seconds 60 --seeds 0,1,2
    python tests/bench/compare.py --only strips --seconds 60 --beside ../shared/yardstick/yardstick.py

`--beside` names any script that takes the arguments of packing.py and prints the same JSON line; the two run one after
the other, never at once.  Published figures: mean densities of the 2013 method (Elkeran,
doi:10.1016/j.ejor.2013.06.020) and of Gardeyn, Vanden Berghe & Wauters 2025 (arXiv:2509.13329, v1; 20 min, 3 threads).
"""

import argparse
import json
import statistics
import subprocess
import sys
from pathlib import Path
from typing import Any

STRIPS = {
    "albano": (87.47, 89.47),
    "dagli": (87.06, 89.26),
    "fu": (90.68, 92.24),
    "marques": (89.40, 90.93),
    "shapes0": (67.26, 68.60),
    "shirts": (87.59, 89.66),
    "trousers": (89.02, 91.73),
    "dighe1": (None, None),
    "metal4-any": (None, None),
    "metal6-any": (None, None),
}
PLATES = ("hides1", "hides4", "hides7", "hides10")
OURS = Path(__file__).with_name("packing.py")


AT_S = ("2", "10", "15")


def run(script: Path, mode: str, instance: Path, seconds: float, seed: int) -> dict[str, Any]:
    """Run one script once and return the line it prints."""
    line = subprocess.run(
        [sys.executable, str(script), mode, str(instance), "--seconds", str(seconds), "--seed", str(seed)],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    found: dict[str, Any] = json.loads(line.splitlines()[-1])
    return found


def figures(runs: list[dict[str, Any]]) -> str:
    """Mean and best figure."""
    found = [float(r["figure"]) for r in runs]
    return f"{statistics.mean(found):.2f} ({max(found):.2f})" if found else "-"


def means(runs: list[dict[str, Any]]) -> str:
    """Mean figures at the moments `AT_S`, as far as every run was noted then."""
    cells = []
    for at in AT_S:
        noted = [r["figure_at"][at] for r in runs if at in r.get("figure_at", {})]
        cells.append(f"{statistics.mean(noted):.2f}" if noted and len(noted) == len(runs) else "-")
    return " / ".join(cells)


def main() -> None:
    """Read the arguments and print the table row by row."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path, default=Path("../shared/benchmarks"))
    parser.add_argument("--only", choices=["strips", "plates"])
    parser.add_argument("--names", help="only these instances, with commas")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seeds", default="0")
    parser.add_argument("--beside", type=Path)
    o = parser.parse_args()
    seeds = [int(s) for s in o.seeds.split(",")]
    rows = [("strip", n) for n in STRIPS if o.only != "plates"] + [("plate", n) for n in PLATES if o.only != "strips"]
    if o.names:
        rows = [row for row in rows if row[1] in o.names.split(",")]
    if not o.data.is_dir():
        sys.exit(f"{o.data}: the folder of open benchmark data is not there; name it with --data")
    processor = next((line.split(":")[1].strip() for line in _cpuinfo() if line.startswith("model name")), "unknown")
    print(f"processor {processor}; {o.seconds:g} s a run; seeds {o.seeds}; mean (best)\n")
    print(f"| instance | ours | ours at {', '.join(AT_S)} s | beside | published 2013 | published 2025 |")
    print("| --- " * 6 + "|")
    for mode, name in rows:
        ours = [run(OURS, mode, o.data / f"{name}.json", o.seconds, s) for s in seeds]
        theirs = [run(o.beside, mode, o.data / f"{name}.json", o.seconds, s) for s in seeds] if o.beside else []
        cells = [figures(ours), means(ours), figures(theirs)]
        old, new = STRIPS.get(name, (None, None))
        print(f"| {name} | {' | '.join(cells)} | {old or '-'} | {new or '-'} |", flush=True)


def _cpuinfo() -> list[str]:
    path = Path("/proc/cpuinfo")
    return path.read_text(encoding="utf-8").splitlines() if path.exists() else []


if __name__ == "__main__":
    main()
