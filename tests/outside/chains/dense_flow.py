"""OpenCV's dense optical flow (Farnebäck 2003), one vector per pixel. Arguments: frame A, frame B,
file of vectors (NPY, rows x columns x 2)."""

import sys

import cv2
import numpy as np
import tifffile

a, b = (tifffile.imread(file).astype(float) for file in sys.argv[1:3])
top = np.percentile([a, b], 99.5)
a, b = (np.clip(255 * frame / top, 0, 255).astype(np.uint8) for frame in (a, b))
flow = cv2.calcOpticalFlowFarneback(a, b, None, 0.5, 4, 24, 5, 7, 1.5, 0)
np.save(sys.argv[3], flow.astype(np.float32))
