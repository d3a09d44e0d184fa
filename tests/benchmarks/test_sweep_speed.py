"""How fast the raster straightedge is, against scipy's hull and against a plain loop in C.

All times are of one run on one machine, the best of a few repeats, so that the ratios hold on a
busy one. The raster is 1000 x 1000 samples; the bar has 121.
"""

import ctypes
import shutil
import subprocess
import sys
import time

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from flatcheck.sweep import sweep

SAMPLES = 121
REPEATS = 5

# Andrew's monotone chain on every window, then the deepest sample below each edge: the loop that
# anyone would write in C, 0.3 to 1 microsecond a window.
CHAIN = r"""
#include <stdlib.h>
void sweep(const double *z, int rows, int n, int samples, double *gap) {
  int *hull = malloc(samples * sizeof(int));
  for (int row = 0; row < rows; row++)
    for (int start = 0; start + samples <= n; start++) {
      const double *p = z + (size_t)row * n + start;
      int k = 0;
      for (int i = 0; i < samples; i++) {
        while (k >= 2 && (p[hull[k - 1]] - p[hull[k - 2]]) * (i - hull[k - 2]) <=
                             (p[i] - p[hull[k - 2]]) * (hull[k - 1] - hull[k - 2]))
          k--;
        hull[k++] = i;
      }
      double worst = 0;
      for (int e = 0; e + 1 < k; e++) {
        int a = hull[e], b = hull[e + 1];
        double slope = (p[b] - p[a]) / (b - a);
        for (int i = a + 1; i < b; i++) {
          double g = p[a] + slope * (i - a) - p[i];
          if (g > worst) worst = g;
        }
      }
      gap[(size_t)row * (n - samples + 1) + start] = worst;
    }
  free(hull);
}
"""


def floor(kind, rows=1000, n=1000):
    """Heights [mm] of the floors that differ most in the work that they make."""
    x, y = np.meshgrid(np.arange(n), np.arange(rows))
    rng = np.random.default_rng(0)
    slab = 3 * np.sin(x / 90) * np.cos(y / 70)
    bowl = ((x - n / 2) ** 2 + (y - rows / 2) ** 2) / 1e4
    return {
        "noisy slab": lambda: slab + rng.normal(0, 0.3, x.shape),
        "smooth waves": lambda: slab + np.sin(x / 23 + y / 31),
        "dome": lambda: -bowl,
        "white noise": lambda: rng.normal(0, 1, x.shape),
        "bowl": lambda: bowl,
    }[kind]()


def seconds(work, repeats=REPEATS):
    """The best time of a few."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


@pytest.fixture(scope="module")
def chain(tmp_path_factory):
    """The loop in C, as a function (profiles, samples) -> gap."""
    if shutil.which("gcc") is None:
        pytest.skip("no gcc on this machine to build the C loop with")
    folder = tmp_path_factory.mktemp("chain")
    (folder / "chain.c").write_text(CHAIN)
    command = ["gcc", "-O3", "-shared", "-fPIC", "-o", "chain.so", "chain.c"]
    subprocess.run(command, cwd=folder, check=True)
    doubles = np.ctypeslib.ndpointer(np.float64, flags="C_CONTIGUOUS")
    function = ctypes.CDLL(str(folder / "chain.so")).sweep
    function.argtypes = [doubles, ctypes.c_int, ctypes.c_int, ctypes.c_int, doubles]
    function.restype = None

    def gap(profiles, samples):
        rows, n = profiles.shape
        out = np.empty((rows, n - samples + 1))
        function(profiles, rows, n, samples, out)
        return out

    return gap


@pytest.mark.parametrize("kind", ["noisy slab", "smooth waves", "dome", "white noise", "bowl"])
def test_at_most_three_times_the_c_loop(kind, chain, capsys):
    """The same gaps as a monotone chain in C, in at most 3 times its time, on every kind."""
    profiles = floor(kind)
    ours, theirs = np.inf, np.inf
    for _ in range(REPEATS):  # in turn, so that a busy spell of the machine is borne by both
        ours = min(ours, seconds(lambda: sweep(profiles, SAMPLES), 1))
        theirs = min(theirs, seconds(lambda: chain(profiles, SAMPLES), 1))
    got, want = sweep(profiles, SAMPLES).gap, chain(profiles, SAMPLES)
    with capsys.disabled():
        windows = got.size
        print(
            f"\n{kind:13} sweep {ours:.2f} s, {ours / windows * 1e9:.0f} ns a window;"
            f" C {theirs:.2f} s; ratio {ours / theirs:.2f}"
        )
    np.testing.assert_allclose(got, want, rtol=0, atol=1e-9)
    assert ours <= 3 * theirs


def test_at_least_sixty_times_scipys_hull(capsys):
    """A loop over the windows with scipy.spatial.ConvexHull takes at least 60 times as long."""
    profiles = floor("noisy slab")
    x = np.arange(SAMPLES)
    rng = np.random.default_rng(1)
    picks = np.column_stack((rng.integers(0, 1000, 300), rng.integers(0, 1001 - SAMPLES, 300)))

    def hulls():
        gaps = np.empty(len(picks))
        for k, (row, start) in enumerate(picks):
            window = profiles[row, start : start + SAMPLES]
            hull = ConvexHull(np.column_stack((x, window)))
            upper = hull.equations[hull.equations[:, 1] > 0]
            height = np.min(-(upper[:, :1] * x + upper[:, 2:]) / upper[:, 1:2], axis=0)
            gaps[k] = np.max(height - window)
        return gaps

    got = sweep(profiles, SAMPLES).gap
    np.testing.assert_allclose(got[tuple(picks.T)], hulls(), rtol=0, atol=1e-9)
    ours = seconds(lambda: sweep(profiles, SAMPLES))
    theirs = seconds(hulls) / len(picks) * got.size
    with capsys.disabled():
        print(
            f"\nscipy hulls {theirs:.0f} s (scaled), sweep {ours:.2f} s: {theirs / ours:.0f} times"
        )
    assert theirs >= 60 * ours


@pytest.mark.parametrize("kind", ["noisy slab", "smooth waves"])
def test_time_grows_with_the_cells(kind, capsys):
    """Twice the rows take twice the time: less than 2.6 times, to allow for a busy machine."""
    half, whole = floor(kind, rows=500), floor(kind, rows=1000)
    ours = [seconds(lambda of=of: sweep(of, SAMPLES)) for of in (half, whole)]
    with capsys.disabled():
        print(f"\n{kind:13} 500 rows {ours[0]:.2f} s, 1000 rows {ours[1]:.2f} s")
    assert ours[1] < 2.6 * ours[0]


def test_peak_memory(capsys):
    """A process that sweeps a million cells never holds 1.5 GB, numpy and the raster included.

    Linux may count the peak of the process that started it as well, so this never reads low.
    """
    pytest.importorskip("resource", reason="this system does not tell the peak of a process")
    script = (
        "import resource, sys, numpy as np\n"
        "from flatcheck.sweep import sweep\n"
        "profiles = np.random.default_rng(0).normal(size=(1000, 1000))\n"
        f"sweep(profiles, {SAMPLES})\n"
        "unit = 1 if sys.platform == 'darwin' else 1024\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit)\n"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    peak_gb = int(run.stdout) / 1e9
    with capsys.disabled():
        print(f"\npeak memory {peak_gb:.2f} GB")
    assert peak_gb < 1.5
