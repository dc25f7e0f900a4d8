"""A plain chain of numpy and scipy: windows of 32 px every 16 px, cross-correlated once, the peak
fitted by a Gaussian. Arguments: frame A, frame B, file of vectors (text)."""

import sys
from pathlib import Path

import numpy as np
import tifffile

sys.path.insert(0, str(Path(__file__).parent.parent))
from correlation import peak, plane, triangle

SIDE, STEP = 32, 16

a, b = (tifffile.imread(file).astype(float) for file in sys.argv[1:3])
with open(sys.argv[3], "w") as out:
    print("x y dx dy", file=out)
    for y in range(0, a.shape[0] - SIDE + 1, STEP):
        for x in range(0, a.shape[1] - SIDE + 1, STEP):
            place = np.s_[y : y + SIDE, x : x + SIDE]
            with np.errstate(all="ignore"):
                values = np.maximum(plane(a[place], b[place]), 1e-9) / triangle((SIDE, SIDE))
                dx, dy = peak(values, (SIDE, SIDE), reach=SIDE // 2)
            print(x + (SIDE - 1) / 2, y + (SIDE - 1) / 2, dx, dy, file=out)
