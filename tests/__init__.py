"""Tests and campaigns. Linear algebra gets one thread a process: the matrices are small."""

import os

for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")
