"""Run by the environment that holds the EMVA group's reference implementation: a descriptor file
in, its figures out as JSON.
"""

import json
import logging
import sys

logging.disable(logging.INFO)

from emva1288.process import Data1288, LoadImageData, ParseEmvaDescriptorFile, Results1288  # noqa: E402

images = ParseEmvaDescriptorFile(sys.argv[1]).images
results = Results1288(Data1288(LoadImageData(images).data).data)
figures = ("QE", "K", "sigma_d", "u_e_sat", "DSNU1288", "PRNU1288", "LE_min", "LE_max")
json.dump({name: float(getattr(results, name)) for name in figures}, sys.stdout)
