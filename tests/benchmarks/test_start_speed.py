"""How long a start takes, in fresh interpreters; the yardsticks are numpy and scipy by themselves.

The promise is `import flatcheck` in under 0.35 s. What it puts off is told beside it: the first
verdict of a run still pays for numpy and scipy.
"""

import subprocess
import sys
import time

SCIPY = "import scipy.sparse.csgraph, scipy.spatial, scipy.special, scipy.linalg"


def start(code: str) -> float:
    """The shortest of several fresh runs of a line of code [s]."""
    times = []
    for _ in range(7):
        before = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        times.append(time.perf_counter() - before)
    return min(times)


def test_import() -> None:
    """`import flatcheck` takes under 0.35 s, and less than `import numpy` in the same run."""
    bare, numpy, scipy = start("pass"), start("import numpy"), start(SCIPY)
    window, chain = start("import flatcheck"), start("from flatcheck import assess, text")
    print(
        f"\nbare interpreter {bare:.3f} s, numpy {numpy:.3f}, scipy's parts {scipy:.3f}, "
        f"import flatcheck {window:.3f} ({window / numpy:.2f} of numpy), with the whole chain "
        f"{chain:.3f} ({chain / scipy:.2f} of scipy's parts)"
    )

    assert window < 0.35
    assert window < numpy
