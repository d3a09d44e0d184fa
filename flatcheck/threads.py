"""One thread for linear algebra, set before numpy is first imported.

The matrices here are small and many; a second thread costs more in waiting than it brings (a third
slower on an idle machine, several times on a busy one). What the person has set stays.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
