"""Non-negative least squares by scipy.optimize.nnls (scipy 1.17.1, numpy 2.4.6), fixed seed: writes cases.json."""

import json
from pathlib import Path

import numpy as np
from scipy.optimize import nnls

rng = np.random.default_rng(20261125)
cases = []
for rows, columns in [(3, 1), (4, 2), (6, 3), (8, 4), (10, 5), (12, 6), (12, 8), (15, 7), (20, 8), (9, 3)] * 2:
    a = rng.uniform(0, 1, (rows, columns)) if len(cases) % 3 else rng.standard_normal((rows, columns))
    x = np.maximum(rng.uniform(-1, 2, columns), 0)
    b = a @ x + 0.3 * rng.standard_normal(rows)
    cases.append({"a": a.round(6).tolist(), "b": b.round(6).tolist()})
for case in cases:
    case["x"] = nnls(np.array(case["a"]), np.array(case["b"]))[0].tolist()
Path(__file__).with_name("cases.json").write_text(json.dumps(cases) + "\n")
