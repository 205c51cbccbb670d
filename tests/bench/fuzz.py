"""Read mutated drawings by the thousand: none may crash, hang for more than 10 seconds or take over 1 GB.

    nice python tests/bench/fuzz.py --count 20000 --start 0 [--corpus ../shared/dxf-corpus] [--keep build/fuzz]

Prints a line for each drawing that does, with its seed, and a summary.  The same seed and corpus give the same drawing.
"""

import argparse
import resource
import signal
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from types import FrameType

from mutated import mutated

from nesting.drawing.reader import read_drawing
from nesting.errors import InputError

MOST_SECONDS = 10
MOST_BYTES = 1_000_000_000
SMALL_BYTES = 60_000
MOST_ENTITIES = 20_000
"""A tenth of the usual limit: 200,000 honest entities take more than ten seconds to read."""


class TooSlowError(BaseException):
    """Not an `Exception`, so that no net of the reader catches it."""


def too_slow(_: int, __: FrameType | None) -> None:
    raise TooSlowError


def outcome(path: Path) -> str:
    """Read one drawing; return what came of it, `crash` or `slow` with the reason for what must not be."""
    signal.alarm(MOST_SECONDS)
    try:
        drawing = read_drawing(path, units="mm", most_entities=MOST_ENTITIES)
        assert all(part.area_mm2 > 0.0 and part.fine_polygon.is_valid for part in drawing.parts)
        return "read"
    except InputError as error:
        assert str(error).startswith(path.name), str(error)
        return "refused"
    except TooSlowError:
        return f"slow: over {MOST_SECONDS} s"
    except Exception:
        return f"crash: {traceback.format_exc(limit=-3)}"
    finally:
        signal.alarm(0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--corpus", type=Path)
    parser.add_argument("--keep", type=Path, help="folder for the drawings that fail")
    args = parser.parse_args()
    warnings.simplefilter("error")
    signal.signal(signal.SIGALRM, too_slow)
    resource.setrlimit(resource.RLIMIT_AS, (4 * MOST_BYTES, 4 * MOST_BYTES))
    real = sorted(args.corpus.rglob("*.[dD][xX][fF]")) if args.corpus else []
    drawings = tuple(p.read_bytes() for p in real if 0 < p.stat().st_size < SMALL_BYTES)
    counts: Counter[str] = Counter()
    slowest = (0.0, -1)
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(args.start, args.start + args.count):
            ending, content = mutated(seed, drawings)
            path = Path(folder) / f"mutated{ending}"
            path.write_bytes(content)
            start = time.perf_counter()
            result = outcome(path)
            slowest = max(slowest, (time.perf_counter() - start, seed))
            counts[result.split(":")[0]] += 1
            if (seed + 1 - args.start) % 250 == 0:
                print(f"{seed + 1 - args.start} read: {dict(counts)}", flush=True)
            if ":" in result:
                print(f"seed {seed}: {result}", flush=True)
                if args.keep:
                    args.keep.mkdir(parents=True, exist_ok=True)
                    (args.keep / f"{seed}{ending}").write_bytes(content)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(
        f"{args.count} drawings from seed {args.start} in {time.perf_counter() - begun:.0f} s: {dict(counts)}; slowest "
        f"{slowest[0]:.1f} s (seed {slowest[1]}); peak memory {peak / 1e6:.0f} MB{' OVER' if peak > MOST_BYTES else ''}"
    )


if __name__ == "__main__":
    main()
